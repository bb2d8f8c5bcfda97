//! Where a number comes from.

use std::borrow::Cow;

/// The origin of a constant or an input, shown beside it wherever it is used.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Source {
    /// A book, paper, standard or public data set: author, title, year, page or table.
    Published(Cow<'static, str>),
    /// The maker's data sheet of a material or machine.
    MakerSheet(Cow<'static, str>),
    /// A habit of the trade for which no source was found.
    CommonPractice,
    /// Remembered, not looked up; to be checked before relying on it.
    FromMemory,
    /// Chosen here, for the stated reason.
    Assumed(Cow<'static, str>),
    /// Weighed, timed or read off by the studio.
    MeasuredHere,
    /// Typed in by the studio or read from its settings.
    #[default]
    Entered,
    /// Follows from the other numbers of the same working.
    Computed,
    /// Exact by definition of the unit.
    Definition,
}

/// A value together with where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Sourced<T> {
    /// The value.
    pub value: T,
    /// Its origin.
    pub source: Source,
}

impl<T> Sourced<T> {
    /// A value typed in by the studio.
    pub const fn entered(value: T) -> Self {
        Self { value, source: Source::Entered }
    }
}

impl std::fmt::Display for Source {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Published(what) => f.write_str(what),
            Self::MakerSheet(what) => write!(f, "maker's data sheet: {what}"),
            Self::CommonPractice => f.write_str("common practice, no source"),
            Self::FromMemory => f.write_str("from memory, check before relying on it"),
            Self::Assumed(why) => write!(f, "assumed: {why}"),
            Self::MeasuredHere => f.write_str("measured in this studio"),
            Self::Entered => f.write_str("as entered"),
            Self::Computed => f.write_str("computed"),
            Self::Definition => f.write_str("exact by definition"),
        }
    }
}
