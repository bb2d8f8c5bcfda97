//! The weights of the trade and exact conversion between them.

use rust_decimal::Decimal;

use super::MetalRefusal;

/// A unit of mass used in the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WeightUnit {
    /// Gram.
    Gram,
    /// Kilogram.
    Kilogram,
    /// Grain, the same in troy and avoirdupois weight.
    Grain,
    /// Pennyweight, 24 grains.
    Pennyweight,
    /// Troy ounce, 480 grains.
    TroyOunce,
    /// Troy pound, 12 troy ounces.
    TroyPound,
    /// Avoirdupois ounce, 437.5 grains.
    Ounce,
    /// Avoirdupois pound, 7000 grains.
    Pound,
    /// Metric carat of stones, 200 mg; not the karat of fineness.
    Carat,
}

impl WeightUnit {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Gram,
        Self::Kilogram,
        Self::Grain,
        Self::Pennyweight,
        Self::TroyOunce,
        Self::TroyPound,
        Self::Ounce,
        Self::Pound,
        Self::Carat,
    ];

    /// The abbreviation as printed.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Grain => "gr",
            Self::Pennyweight => "dwt",
            Self::TroyOunce => "ozt",
            Self::TroyPound => "lb t",
            Self::Ounce => "oz",
            Self::Pound => "lb",
            Self::Carat => "ct",
        }
    }

    /// Finds a unit by its abbreviation.
    #[must_use]
    pub fn by_symbol(symbol: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.symbol() == symbol.trim())
    }

    /// Grams in one of it, exact by definition.
    ///
    /// # Source
    /// The pound of 0.45359237 kg has 7000 grains (international yard and pound agreement, 1959);
    /// the troy units are whole numbers of grains.
    #[must_use]
    pub fn grams(self) -> Decimal {
        const TEN_NANOGRAMS_PER_GRAIN: i64 = 6_479_891;
        let grains = |count: i64| Decimal::new(TEN_NANOGRAMS_PER_GRAIN * count, 8);
        match self {
            Self::Gram => Decimal::ONE,
            Self::Kilogram => Decimal::ONE_THOUSAND,
            Self::Grain => grains(1),
            Self::Pennyweight => grains(24),
            Self::TroyOunce => grains(480),
            Self::TroyPound => grains(5760),
            Self::Ounce => Decimal::new(TEN_NANOGRAMS_PER_GRAIN * 4375, 9),
            Self::Pound => grains(7000),
            Self::Carat => Decimal::new(2, 1),
        }
    }
}

/// Converts a mass from one unit to another.
///
/// # Accuracy
/// Exact into grams; into other units the quotient has 28 digits.
///
/// # Refuses
/// Numbers too large to be kept exactly.
pub fn convert_weight(
    value: Decimal,
    from: WeightUnit,
    to: WeightUnit,
) -> Result<Decimal, MetalRefusal> {
    let grams = value.checked_mul(from.grams()).ok_or(MetalRefusal::TooLarge)?;
    grams
        .checked_div(to.grams())
        .map(|converted| converted.normalize())
        .ok_or(MetalRefusal::TooLarge)
}
