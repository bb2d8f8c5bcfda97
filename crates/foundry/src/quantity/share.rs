//! Parts of a whole.

/// A share of a whole, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Share(f64);

impl Share {
    /// Nothing of the whole.
    pub const NONE: Self = Self(0.0);
    /// All of the whole.
    pub const ALL: Self = Self(1.0);

    /// Takes a number from 0 to 1.
    pub fn new(value: f64) -> Result<Self, super::QuantityRefusal> {
        super::checked(value, "a share", "", 0.0, 1.0).map(Self)
    }

    /// Takes a percentage from 0 to 100.
    pub fn from_percent(percent: f64) -> Result<Self, super::QuantityRefusal> {
        super::checked(percent, "a share", "%", 0.0, 100.0).map(|percent| Self(percent / 100.0))
    }

    /// The number from 0 to 1.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The share as a percentage.
    #[must_use]
    pub fn percent(self) -> f64 {
        self.0 * 100.0
    }
}
