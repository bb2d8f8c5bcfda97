//! Addresses of designs' pages; the only source of links to them.

use std::fmt;

/// The list.
#[derive(Clone, Copy, Debug)]
pub struct Designs;

/// The form for new ones.
#[derive(Clone, Copy, Debug)]
pub struct NewDesign;

/// One design, by its number.
#[derive(Clone, Copy, Debug)]
pub struct Design(pub i32);

/// The file of a version of a design, as it came.
#[derive(Clone, Copy, Debug)]
pub struct Original(pub i32, pub i32);

impl fmt::Display for Designs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/designs")
    }
}

impl fmt::Display for NewDesign {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/designs/new")
    }
}

impl fmt::Display for Design {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/designs/{}", self.0)
    }
}

impl fmt::Display for Original {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/designs/{}/versions/{}/original", self.0, self.1)
    }
}
