//! Addresses of cure batches' pages; the only source of links to them.

use std::fmt;

/// The list.
#[derive(Clone, Copy, Debug)]
pub struct CureBatches;

/// The form for a new one.
#[derive(Clone, Copy, Debug)]
pub struct NewCureBatch;

/// One batch, by its number.
#[derive(Clone, Copy, Debug)]
pub struct CureBatch(pub i32);

impl fmt::Display for CureBatches {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/cure")
    }
}

impl fmt::Display for NewCureBatch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/cure/new")
    }
}

impl fmt::Display for CureBatch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/cure/{}", self.0)
    }
}
