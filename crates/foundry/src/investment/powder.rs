//! Kinds of investment and their ratio of water to powder.

use std::borrow::Cow;

use crate::metal::Density;
use crate::quantity::{GramsPerCubicCentimetre, Share};
use crate::source::{Source, Sourced};

use super::InvestmentRefusal;

/// What holds the silica together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Binder {
    /// Gypsum, for metal up to about 1100 °C and a mould never above 730 to 750 °C.
    Gypsum,
    /// Phosphate, for platinum, palladium and other hot metals.
    Phosphate,
}

impl Binder {
    /// The name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gypsum => "gypsum-bonded",
            Self::Phosphate => "phosphate-bonded",
        }
    }

    /// The ratios that are accepted at all.
    const fn accepted(self) -> (f64, f64) {
        match self {
            Self::Gypsum => (30.0, 50.0),
            Self::Phosphate => (10.0, 50.0),
        }
    }
}

/// Water to powder by mass: parts of water (or special liquid) to 100 parts of powder.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct WaterRatio(f64);

impl WaterRatio {
    /// Takes parts of water to 100 of powder.
    ///
    /// # Refuses
    /// What lies outside 30 to 50 (gypsum) or 10 to 50 (phosphate).
    pub fn new(per_100: f64, binder: Binder) -> Result<Self, InvestmentRefusal> {
        let (least, greatest) = binder.accepted();
        if !(least..=greatest).contains(&per_100) {
            return Err(InvestmentRefusal::RatioOutOfRange {
                binder: binder.name(),
                given: per_100,
                least,
                greatest,
            });
        }
        Ok(Self(per_100))
    }

    /// Parts of water to 100 of powder.
    #[must_use]
    pub const fn per_100(self) -> f64 {
        self.0
    }

    /// Parts of water to one of powder.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0 / 100.0
    }
}

/// An investment powder.
#[derive(Debug, Clone, PartialEq)]
pub struct Powder {
    /// Its name.
    pub name: Cow<'static, str>,
    /// Its binder.
    pub binder: Binder,
    /// Density of the grains themselves, not of the loose powder.
    pub true_density: Density,
    /// Its usual ratio, if it has one.
    pub usual_ratio: Option<Sourced<WaterRatio>>,
    /// The range within which makers keep, in parts of water to 100.
    pub recommended: Option<Sourced<(f64, f64)>>,
}

impl Powder {
    /// What is to be said about a ratio outside the recommended range.
    pub(super) fn ratio_warning(&self, ratio: WaterRatio) -> Option<String> {
        let Sourced { value: (least, greatest), source } = self.recommended.as_ref()?;
        let given = ratio.per_100();
        if given < *least {
            return Some(format!(
                "{given}:100 is drier than the usual {least} to {greatest}:100 ({source}): short working time, grainy surface, nodules."
            ));
        }
        if given > *greatest {
            return Some(format!(
                "{given}:100 is wetter than the usual {least} to {greatest}:100 ({source}): long working time, weak mould, watermarks."
            ));
        }
        None
    }
}

/// Gypsum-bonded investment as used for bronze, silver and gold.
///
/// # Source
/// Ratio: “Investment Procedure for Lost Wax Casting”, Ganoksin library (40 ml to 100 g); 38 to 40
/// for large to fine castings: Orchid jewellers' forum, thread 19887; up to 44: a supplier's note
/// on hot mixes. True density: estimated from 2.32 to 2.65 of the silicas and 2.7 of hemihydrate.
#[must_use]
pub fn gypsum_bonded() -> Powder {
    Powder {
        name: Cow::Borrowed("gypsum-bonded investment"),
        binder: Binder::Gypsum,
        true_density: Density {
            value: GramsPerCubicCentimetre::of(2.5),
            tolerance: Share::from_percent(4.0).unwrap_or(Share::NONE),
            source: Source::Assumed(Cow::Borrowed(
                "estimated from the densities of cristobalite, quartz and hemihydrate; a trial mix in a measuring jug settles it",
            )),
        },
        usual_ratio: Some(Sourced {
            value: WaterRatio(40.0),
            source: Source::Published(Cow::Borrowed(
                "“Investment Procedure for Lost Wax Casting”, Ganoksin library: 40 cm³ to 100 g",
            )),
        }),
        recommended: Some(Sourced {
            value: (36.0, 44.0),
            source: Source::Published(Cow::Borrowed(
                "38 to 40: Orchid jewellers' forum, thread 19887; 44: “Hot Mix Investment for High Altitude Casting”; lower end from memory",
            )),
        }),
    }
}

/// Phosphate-bonded investment: ratio and liquid only by its own data sheet.
#[must_use]
pub fn phosphate_bonded() -> Powder {
    Powder {
        name: Cow::Borrowed("phosphate-bonded investment"),
        binder: Binder::Phosphate,
        true_density: Density {
            value: GramsPerCubicCentimetre::of(2.5),
            tolerance: Share::from_percent(6.0).unwrap_or(Share::NONE),
            source: Source::Assumed(Cow::Borrowed("mostly quartz and cristobalite, 2.33 to 2.65")),
        },
        usual_ratio: None,
        recommended: None,
    }
}
