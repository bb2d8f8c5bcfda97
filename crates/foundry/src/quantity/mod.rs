//! Physical quantities with their unit in the type.
//!
//! One unit is kept for each kind; conversions are named functions at the edge.
//! A value is always finite: `new` refuses NaN and infinity, so arithmetic on
//! quantities cannot start from nonsense. Only physical arithmetic compiles:
//! a volume times a density is a mass, a volume times a mass is nothing.

mod geometry;
mod mass;
mod money;
mod share;
mod temperature;
mod time;

pub use geometry::{CubicMillimetres, MM_PER_INCH, Millimetres, SquareMillimetres};
pub use mass::{
    Centigrams, GRAMS_PER_PENNYWEIGHT, GRAMS_PER_TROY_OUNCE, Grams, GramsPerCubicCentimetre,
};
pub use money::{Currency, Money, MoneyRefusal};
pub use share::Share;
pub use temperature::{Celsius, Kelvins};
pub use time::{Minutes, Seconds};

/// Why a number was refused as a quantity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum QuantityRefusal {
    /// Not a number, or infinite.
    #[error("{quantity} must be a finite number")]
    NotFinite {
        /// The kind of quantity, in words.
        quantity: &'static str,
    },
    /// Outside the range in which the quantity has a meaning.
    #[error("{quantity} must be between {least} and {greatest} {unit}; {given} was given")]
    OutOfRange {
        /// The kind of quantity, in words.
        quantity: &'static str,
        /// Smallest value that is accepted.
        least: f64,
        /// Greatest value that is accepted.
        greatest: f64,
        /// What was given.
        given: f64,
        /// The unit of the three numbers.
        unit: &'static str,
    },
}

/// Checks a raw number against the range of its quantity.
pub(crate) fn checked(
    given: f64,
    quantity: &'static str,
    unit: &'static str,
    least: f64,
    greatest: f64,
) -> Result<f64, QuantityRefusal> {
    if !given.is_finite() {
        return Err(QuantityRefusal::NotFinite { quantity });
    }
    if given < least || given > greatest {
        return Err(QuantityRefusal::OutOfRange { quantity, least, greatest, given, unit });
    }
    Ok(given)
}

/// Defines a quantity stored as a finite `f64` in one unit.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $words:literal, $unit:literal, $least:expr, $greatest:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("The unit, as printed: ", $unit, ".")]
            pub const UNIT: &'static str = $unit;
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);

            /// Takes a number in this unit; refuses what is not finite or out of range.
            pub fn new(value: f64) -> Result<Self, $crate::quantity::QuantityRefusal> {
                $crate::quantity::checked(value, $words, $unit, $least, $greatest).map(Self)
            }

            /// A value known to be finite, for constants in the code.
            ///
            /// # Panics
            /// In a constant, at compile time, when it is not finite.
            #[must_use]
            pub const fn of(value: f64) -> Self {
                assert!(value.is_finite(), "a quantity must be finite");
                Self(value)
            }

            /// The number in this unit.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }

            /// The greater of two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// The smaller of two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
        }
    };
}

/// Adds the arithmetic of amounts: sums, differences, scaling and ratios.
macro_rules! amounts {
    ($name:ident) => {
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl std::ops::AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl std::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(each: I) -> Self {
                each.fold(Self::ZERO, |total, one| total + one)
            }
        }
    };
}

pub(crate) use {amounts, quantity};
