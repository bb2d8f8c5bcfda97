//! Masses and densities.

use super::{CubicMillimetres, amounts, quantity};

quantity!(
    /// A measured mass.
    Grams, "a mass", "g", 0.0, 1.0e7
);
amounts!(Grams);

quantity!(
    /// A density.
    GramsPerCubicCentimetre, "a density", "g/cm³", 0.0, 30.0
);

/// Grams in a troy ounce, exact by definition.
pub const GRAMS_PER_TROY_OUNCE: f64 = 31.103_476_8;
/// Grams in a pennyweight, a twentieth of a troy ounce, exact.
pub const GRAMS_PER_PENNYWEIGHT: f64 = 1.555_173_84;

impl std::ops::Mul<GramsPerCubicCentimetre> for CubicMillimetres {
    type Output = Grams;
    fn mul(self, density: GramsPerCubicCentimetre) -> Grams {
        Grams::of(self.cubic_centimetres() * density.get())
    }
}

impl std::ops::Div<GramsPerCubicCentimetre> for Grams {
    type Output = CubicMillimetres;
    fn div(self, density: GramsPerCubicCentimetre) -> CubicMillimetres {
        CubicMillimetres::of(self.0 / density.get() * 1000.0)
    }
}

impl Grams {
    /// The mass in troy ounces.
    #[must_use]
    pub fn troy_ounces(self) -> f64 {
        self.0 / GRAMS_PER_TROY_OUNCE
    }

    /// The mass in pennyweights.
    #[must_use]
    pub fn pennyweights(self) -> f64 {
        self.0 / GRAMS_PER_PENNYWEIGHT
    }

    /// Counted for the ledger: rounded to the nearest centigram, halves away from zero.
    #[must_use]
    pub fn to_centigrams_rounded(self) -> Centigrams {
        Centigrams((self.0 * 100.0).round() as i64)
    }
}

/// A counted mass, as the metal ledger keeps it: whole hundredths of a gram, signed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Centigrams(pub i64);

impl Centigrams {
    /// The same mass as a measured quantity; exact up to 2^53 centigrams.
    #[must_use]
    pub fn to_grams(self) -> Grams {
        Grams::of(self.0 as f64 / 100.0)
    }
}
