//! Addresses of the finishing bench; the only source of links to it.

use std::fmt;

/// Everything at the bench.
#[derive(Clone, Copy, Debug)]
pub struct Bench;

/// One piece at the bench, by its label.
#[derive(Clone, Copy, Debug)]
pub struct BenchPiece<'a>(pub &'a str);

impl fmt::Display for Bench {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/finishing")
    }
}

impl fmt::Display for BenchPiece<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/finishing/{}", self.0)
    }
}
