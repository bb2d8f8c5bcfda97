//! Addresses of plates' pages; the only source of links to them.

use std::fmt;

/// The list.
#[derive(Clone, Copy, Debug)]
pub struct Plates;

/// The form for a new one.
#[derive(Clone, Copy, Debug)]
pub struct NewPlate;

/// Plates for all that waits, as the program would lay them out.
#[derive(Clone, Copy, Debug)]
pub struct ProposePlates;

/// One plate, by its number.
#[derive(Clone, Copy, Debug)]
pub struct Plate(pub i32);

impl fmt::Display for Plates {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/plates")
    }
}

impl fmt::Display for NewPlate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/plates/new")
    }
}

impl fmt::Display for ProposePlates {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/plates/propose")
    }
}

impl fmt::Display for Plate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/plates/{}", self.0)
    }
}
