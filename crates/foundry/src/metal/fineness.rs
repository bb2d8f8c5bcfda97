//! Fineness: parts of precious metal in a thousand, the standards for it, and how to reach one.

use rust_decimal::Decimal;

use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::{Element, MetalRefusal};

/// A fineness, exact whether it was given in parts per thousand or in karats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fineness {
    /// Three times the parts per thousand: one karat is 1000/24 = 125/3 of them, so both
    /// ways of giving a fineness stay exact.
    thrice: Decimal,
}

const THREE: Decimal = Decimal::from_parts(3, 0, 0, false, 0);
const THRICE_PER_KARAT: Decimal = Decimal::from_parts(125, 0, 0, false, 0);
const THRICE_WHOLE: Decimal = Decimal::from_parts(3000, 0, 0, false, 0);

impl Fineness {
    /// No precious metal at all.
    pub const NONE: Self = Self { thrice: Decimal::ZERO };
    /// Nothing but the precious metal.
    pub const PURE: Self = Self { thrice: THRICE_WHOLE };

    /// Takes parts per thousand, 0 to 1000.
    pub fn from_per_mille(per_mille: Decimal) -> Result<Self, MetalRefusal> {
        if per_mille < Decimal::ZERO || per_mille > Decimal::ONE_THOUSAND {
            return Err(MetalRefusal::FinenessOutOfRange { per_mille });
        }
        let thrice = per_mille.checked_mul(THREE).ok_or(MetalRefusal::TooLarge)?;
        Ok(Self { thrice: thrice.normalize() })
    }

    /// Takes karats, 0 to 24; the carat of fineness, not that of stones.
    pub fn from_karat(karat: Decimal) -> Result<Self, MetalRefusal> {
        if karat < Decimal::ZERO || karat > Decimal::from(24) {
            return Err(MetalRefusal::KaratOutOfRange { karat });
        }
        let thrice = karat.checked_mul(THRICE_PER_KARAT).ok_or(MetalRefusal::TooLarge)?;
        Ok(Self { thrice: thrice.normalize() })
    }

    /// Parts per thousand.
    #[must_use]
    pub fn per_mille(self) -> Decimal {
        self.thrice / THREE
    }

    /// Karats.
    #[must_use]
    pub fn karat(self) -> Decimal {
        self.thrice / THRICE_PER_KARAT
    }

    /// Three times the parts per thousand, for sums that stay exact in karats too.
    pub(super) const fn thrice(self) -> Decimal {
        self.thrice
    }

    pub(super) fn from_thrice(thrice: Decimal) -> Result<Self, MetalRefusal> {
        if thrice < Decimal::ZERO || thrice > THRICE_WHOLE {
            return Err(MetalRefusal::FinenessOutOfRange { per_mille: thrice / THREE });
        }
        Ok(Self { thrice: thrice.normalize() })
    }

    fn figure(self, name: &'static str) -> Figure {
        Figure::exact(name, self.per_mille(), "‰", Source::Entered)
    }
}

/// A metal whose fineness is marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PreciousMetal {
    /// Gold.
    Gold,
    /// Silver.
    Silver,
    /// Platinum.
    Platinum,
    /// Palladium.
    Palladium,
}

impl PreciousMetal {
    /// The element.
    #[must_use]
    pub const fn element(self) -> Element {
        match self {
            Self::Gold => Element::Gold,
            Self::Silver => Element::Silver,
            Self::Platinum => Element::Platinum,
            Self::Palladium => Element::Palladium,
        }
    }
}

/// Whose list of standards of fineness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MarkList {
    /// ISO 9202; the figures are from memory, so look them up before marking.
    Iso9202,
    /// The legal standards of the United Kingdom.
    UnitedKingdom,
}

/// The standards of fineness of a metal, ascending, in parts per thousand.
///
/// # Source
/// United Kingdom: Hallmarking Convention, country profile. ISO 9202:2019: from memory.
#[must_use]
pub const fn standards(list: MarkList, metal: PreciousMetal) -> &'static [u16] {
    match (list, metal) {
        (MarkList::UnitedKingdom, PreciousMetal::Gold) => &[375, 585, 750, 916, 990, 999],
        (MarkList::UnitedKingdom, PreciousMetal::Silver) => &[800, 925, 958, 999],
        (MarkList::UnitedKingdom, PreciousMetal::Platinum) => &[850, 900, 950, 999],
        (MarkList::UnitedKingdom | MarkList::Iso9202, PreciousMetal::Palladium) => &[500, 950, 999],
        (MarkList::Iso9202, PreciousMetal::Gold) => &[333, 375, 417, 585, 750, 800, 916, 990, 999],
        (MarkList::Iso9202, PreciousMetal::Silver) => &[800, 830, 835, 925, 958, 999],
        (MarkList::Iso9202, PreciousMetal::Platinum) => &[585, 850, 900, 950, 999],
    }
}

/// The highest standard not above a fineness; `None` below the lowest.
///
/// There is no minus tolerance: 584 parts of gold are marked 375, not 585.
///
/// # Source
/// The rule and its example: Finnish Safety and Chemicals Agency (Tukes), fineness requirements.
/// National law decides what may be marked and by whom.
#[must_use]
pub fn mark_for(list: MarkList, metal: PreciousMetal, fineness: Fineness) -> Option<u16> {
    standards(list, metal)
        .iter()
        .rev()
        .copied()
        .find(|&standard| Decimal::from(standard) * THREE <= fineness.thrice)
}

/// What to add to a melt, and what it then weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Addition {
    /// Metal to be added, in the unit of the melt.
    pub add: Decimal,
    /// The melt afterwards, in the same unit.
    pub total: Decimal,
}

/// How much metal of one fineness brings a melt of another to a third.
///
/// `x = W·(t − f)/(a − t)`: W parts of fineness f, x of fineness a, t wanted. Raising takes
/// fine metal (1000, or 999.9 if it is that), lowering takes metal with none (0).
///
/// # Units
/// `mass` in any unit (`unit` is only printed); the results are in the same.
///
/// # Accuracy
/// Exact up to the 28 digits of the quotient; melting losses are not in it.
///
/// # Refuses
/// A mass not above zero; a target that does not lie between the melt and the addition.
pub fn bring_to_fineness(
    mass: Decimal,
    unit: &'static str,
    from: Fineness,
    target: Fineness,
    addition: Fineness,
) -> Result<Worked<Addition>, MetalRefusal> {
    if mass <= Decimal::ZERO {
        return Err(MetalRefusal::NoMass { what: "the melt", grams: mass.to_string() });
    }
    let lack = target.thrice - from.thrice;
    let surplus = addition.thrice - target.thrice;
    let reachable = lack.is_zero()
        || (!surplus.is_zero() && lack.is_sign_positive() == surplus.is_sign_positive());
    if !reachable {
        return Err(MetalRefusal::CannotReach {
            from: from.per_mille(),
            target: target.per_mille(),
            addition: addition.per_mille(),
        });
    }
    let add = if lack.is_zero() {
        Decimal::ZERO
    } else {
        let scaled = mass.checked_mul(lack).ok_or(MetalRefusal::TooLarge)?;
        scaled.checked_div(surplus).ok_or(MetalRefusal::TooLarge)?.normalize()
    };
    let total = mass.checked_add(add).ok_or(MetalRefusal::TooLarge)?;
    let mut working = Working::default();
    working.step(
        "mass × (target − melt) ÷ (addition − target)",
        vec![
            Figure::exact("mass", mass, unit, Source::Entered),
            from.figure("fineness of the melt"),
            target.figure("fineness wanted"),
            addition.figure("fineness of the addition"),
        ],
        Figure::exact("to be added", add, unit, Source::Computed),
    );
    working.step(
        "mass + addition",
        vec![
            Figure::exact("mass", mass, unit, Source::Entered),
            Figure::exact("to be added", add, unit, Source::Computed),
        ],
        Figure::exact("melt afterwards", total, unit, Source::Computed),
    );
    working.warn("A mark of fineness has no minus tolerance: aim a little above the standard, and let an assay decide. 14 karat is 583.3 and therefore below the standard 585.");
    Ok(Worked { value: Addition { add, total }, working })
}
