//! Addresses of letters' pages; the only source of links to them.

use std::fmt;

use crate::id::MessageId;

/// All letters.
#[derive(Clone, Copy, Debug)]
pub struct Letters;

/// One letter.
#[derive(Clone, Copy, Debug)]
pub(super) struct Letter(pub(super) MessageId);

/// The templates.
#[derive(Clone, Copy, Debug)]
pub(super) struct Templates;

/// The server that sends.
#[derive(Clone, Copy, Debug)]
pub(super) struct PostOffice;

impl fmt::Display for Letters {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/letters")
    }
}

impl fmt::Display for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/letters/{}", self.0)
    }
}

impl fmt::Display for Templates {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/letters")
    }
}

impl fmt::Display for PostOffice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/post-office")
    }
}
