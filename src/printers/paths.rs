//! Addresses of printers and resins; the only source of links to them.

use std::fmt;

use crate::id::{PrinterId, ResinId};

/// All printers.
#[derive(Clone, Copy, Debug)]
pub struct Printers;

/// One printer.
#[derive(Clone, Copy, Debug)]
pub struct Printer(pub PrinterId);

/// All resins.
#[derive(Clone, Copy, Debug)]
pub struct Resins;

/// One resin and its lots.
#[derive(Clone, Copy, Debug)]
pub struct Resin(pub ResinId);

impl fmt::Display for Printers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/printers")
    }
}

impl fmt::Display for Printer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/studio/printers/{}", self.0)
    }
}

impl fmt::Display for Resins {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/resins")
    }
}

impl fmt::Display for Resin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/studio/resins/{}", self.0)
    }
}
