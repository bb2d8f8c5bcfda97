//! Addresses of pieces' pages; the only source of links to them.

use std::fmt;

/// The list.
#[derive(Clone, Copy, Debug)]
pub struct Pieces;

/// One piece, by its label.
#[derive(Clone, Copy, Debug)]
pub struct Piece<'a>(pub &'a str);

/// The ticket that goes along with it.
#[derive(Clone, Copy, Debug)]
pub struct Ticket<'a>(pub &'a str);

impl fmt::Display for Pieces {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/pieces")
    }
}

impl fmt::Display for Piece<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/pieces/{}", self.0)
    }
}

impl fmt::Display for Ticket<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/pieces/{}/ticket", self.0)
    }
}
