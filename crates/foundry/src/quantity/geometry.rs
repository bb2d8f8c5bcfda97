//! Lengths, areas and volumes, in millimetres.

use super::{amounts, quantity};

quantity!(
    /// A length.
    Millimetres, "a length", "mm", -1.0e6, 1.0e6
);
amounts!(Millimetres);

quantity!(
    /// An area.
    SquareMillimetres, "an area", "mm²", 0.0, 1.0e12
);
amounts!(SquareMillimetres);

quantity!(
    /// A volume; 1000 mm³ are one cubic centimetre or millilitre.
    CubicMillimetres, "a volume", "mm³", 0.0, 1.0e15
);
amounts!(CubicMillimetres);

/// Millimetres in an inch, exact by definition (international yard and pound agreement, 1959).
pub const MM_PER_INCH: f64 = 25.4;

impl Millimetres {
    /// A length given in inches.
    pub fn from_inches(inches: f64) -> Result<Self, super::QuantityRefusal> {
        Self::new(inches * MM_PER_INCH)
    }

    /// The length in inches.
    #[must_use]
    pub fn inches(self) -> f64 {
        self.0 / MM_PER_INCH
    }
}

impl CubicMillimetres {
    /// The volume in cubic centimetres, which are millilitres.
    #[must_use]
    pub fn cubic_centimetres(self) -> f64 {
        self.0 / 1000.0
    }
}
