//! What an alloy is made of, exactly.

use std::borrow::Cow;

use rust_decimal::Decimal;

use crate::quantity::Centigrams;
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::{Element, MetalRefusal};

/// How far the sum of the parts may be from 1000 because a quotient was cut off after its last digit.
const SUM_SLACK: Decimal = Decimal::from_parts(1, 0, 0, false, 9);
const WHOLE: Decimal = Decimal::from_parts(1000, 0, 0, false, 0);

/// One metal of a composition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// The metal.
    pub element: Element,
    /// Its share by mass, in parts per thousand.
    pub per_mille: Decimal,
}

/// A composition by mass in parts per thousand; the parts add up to 1000.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Composition {
    parts: Vec<Part>,
}

impl Composition {
    /// Takes the parts per thousand of each metal.
    ///
    /// # Refuses
    /// No parts, a negative part, a metal named twice, a sum other than 1000.
    pub fn new(parts: Vec<Part>) -> Result<Self, MetalRefusal> {
        check_each(&parts)?;
        let sum = sum_of(&parts)?;
        if (sum - WHOLE).abs() > SUM_SLACK {
            return Err(MetalRefusal::PartsDoNotAddUp { sum: sum.normalize() });
        }
        Ok(Self::sorted(parts))
    }

    /// Takes the parts of some metals and lets another take what is left of 1000.
    pub fn with_rest(mut parts: Vec<Part>, rest: Element) -> Result<Self, MetalRefusal> {
        let sum = sum_of(&parts)?;
        parts.push(Part { element: rest, per_mille: WHOLE - sum });
        Self::new(parts)
    }

    /// One metal alone.
    #[must_use]
    pub fn pure(element: Element) -> Self {
        Self { parts: vec![Part { element, per_mille: WHOLE }] }
    }

    /// Parts in tenths of a part per thousand, known to add up; for the built-in list, which a test checks.
    pub(super) fn of_tenths(parts: &[(Element, u32)]) -> Self {
        Self::sorted(
            parts
                .iter()
                .map(|&(element, tenths)| Part {
                    element,
                    per_mille: Decimal::new(i64::from(tenths), 1),
                })
                .collect(),
        )
    }

    fn sorted(mut parts: Vec<Part>) -> Self {
        parts.retain(|part| !part.per_mille.is_zero());
        parts.sort_by(|a, b| b.per_mille.cmp(&a.per_mille).then(a.element.cmp(&b.element)));
        Self { parts }
    }

    /// The parts, the greatest first.
    #[must_use]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// The parts per thousand of one metal; zero when it is not in the alloy.
    #[must_use]
    pub fn per_mille(&self, element: Element) -> Decimal {
        self.parts
            .iter()
            .find(|part| part.element == element)
            .map_or(Decimal::ZERO, |part| part.per_mille)
    }

    /// Whether the alloy holds any of this metal.
    #[must_use]
    pub fn contains(&self, element: Element) -> bool {
        !self.per_mille(element).is_zero()
    }
}

impl std::fmt::Display for Composition {
    /// Symbols with parts per thousand: `Ag 925 Cu 75`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (at, part) in self.parts.iter().enumerate() {
            let gap = if at == 0 { "" } else { " " };
            let shown = part.per_mille.round_dp(3).normalize();
            write!(f, "{gap}{} {shown}", part.element.symbol())?;
        }
        Ok(())
    }
}

fn check_each(parts: &[Part]) -> Result<(), MetalRefusal> {
    if parts.is_empty() {
        return Err(MetalRefusal::EmptyComposition);
    }
    for (at, part) in parts.iter().enumerate() {
        let symbol = part.element.symbol();
        if part.per_mille < Decimal::ZERO {
            return Err(MetalRefusal::NegativePart { symbol, per_mille: part.per_mille });
        }
        if parts[..at].iter().any(|earlier| earlier.element == part.element) {
            return Err(MetalRefusal::NamedTwice { symbol });
        }
    }
    Ok(())
}

fn sum_of(parts: &[Part]) -> Result<Decimal, MetalRefusal> {
    parts.iter().try_fold(Decimal::ZERO, |sum, part| {
        sum.checked_add(part.per_mille).ok_or(MetalRefusal::TooLarge)
    })
}

/// Metal that goes into a common melt.
#[derive(Debug, Clone, PartialEq)]
pub struct Portion {
    /// What it is called, such as the number of its lot.
    pub name: Cow<'static, str>,
    /// Its mass.
    pub mass: Centigrams,
    /// What it is made of.
    pub composition: Composition,
}

/// The composition of several portions melted together, nothing lost.
///
/// # Units
/// Masses in hundredths of a gram, results in parts per thousand.
///
/// # Accuracy
/// Exact up to the 28 digits of a decimal quotient.
///
/// # Refuses
/// No portions, or a portion without mass.
pub fn melt_together(portions: &[Portion]) -> Result<Worked<Composition>, MetalRefusal> {
    let mut working = Working::default();
    let mut total = Decimal::ZERO;
    for portion in portions {
        if portion.mass.0 <= 0 {
            return Err(MetalRefusal::NoMass {
                what: "each portion of a melt",
                grams: Decimal::new(portion.mass.0, 2).to_string(),
            });
        }
        total += Decimal::new(portion.mass.0, 2);
    }
    if total.is_zero() {
        return Err(MetalRefusal::EmptyComposition);
    }
    let mut parts = Vec::new();
    for element in Element::ALL {
        let mut metal_times_1000 = Decimal::ZERO;
        let mut inputs = Vec::new();
        for portion in portions.iter().filter(|portion| portion.composition.contains(element)) {
            let grams = Decimal::new(portion.mass.0, 2);
            let per_mille = portion.composition.per_mille(element);
            let product = grams.checked_mul(per_mille).ok_or(MetalRefusal::TooLarge)?;
            metal_times_1000 =
                metal_times_1000.checked_add(product).ok_or(MetalRefusal::TooLarge)?;
            inputs.push(Figure::exact(portion.name.clone(), grams, "g", Source::Entered));
            inputs.push(Figure::exact(
                format!("{} in {}", element.name(), portion.name),
                per_mille,
                "‰",
                Source::Entered,
            ));
        }
        if metal_times_1000.is_zero() {
            continue;
        }
        let per_mille = metal_times_1000 / total;
        inputs.push(Figure::exact("whole melt", total, "g", Source::Computed));
        working.step(
            "sum of mass × parts per thousand ÷ mass of the melt",
            inputs,
            Figure::exact(
                format!("{} in the melt", element.name()),
                per_mille,
                "‰",
                Source::Computed,
            ),
        );
        parts.push(Part { element, per_mille });
    }
    working.warn("Nothing is taken off for melting loss. Zinc leaves first, so remelting tends to raise the fineness; only an assay tells.");
    Ok(Worked { value: Composition::new(parts)?, working })
}

/// How much of each pure metal makes up an alloy of a given mass.
///
/// The masses add up to the whole exactly: each is rounded down to a hundredth of a
/// gram and the hundredths left over go to the largest remainders.
///
/// # Refuses
/// A mass that is not above zero.
pub fn weigh_out(
    mass: Centigrams,
    composition: &Composition,
) -> Result<Worked<Vec<(Element, Centigrams)>>, MetalRefusal> {
    if mass.0 <= 0 {
        return Err(MetalRefusal::NoMass {
            what: "an alloy to be made up",
            grams: Decimal::new(mass.0, 2).to_string(),
        });
    }
    let whole = Decimal::from(mass.0);
    let mut shares = Vec::new();
    for part in composition.parts() {
        let exact = whole.checked_mul(part.per_mille).ok_or(MetalRefusal::TooLarge)? / WHOLE;
        let floor = exact.floor();
        let counted = i64::try_from(floor).map_err(|_| MetalRefusal::TooLarge)?;
        shares.push((*part, counted, exact - floor));
    }
    let mut left_over = mass.0 - shares.iter().map(|share| share.1).sum::<i64>();
    let mut by_remainder: Vec<usize> = (0..shares.len()).collect();
    by_remainder.sort_by(|&a, &b| shares[b].2.cmp(&shares[a].2));
    for at in by_remainder {
        if left_over <= 0 {
            break;
        }
        shares[at].1 += 1;
        left_over -= 1;
    }
    let mut working = Working::default();
    let mut masses = Vec::new();
    for (part, counted, _) in shares {
        working.step(
            "mass × parts per thousand ÷ 1000, to the hundredth of a gram",
            vec![
                Figure::exact("mass of alloy", Decimal::new(mass.0, 2), "g", Source::Entered),
                Figure::exact(part.element.name(), part.per_mille, "‰", Source::Entered),
            ],
            Figure::exact(
                format!("{} to weigh out", part.element.name()),
                Decimal::new(counted, 2),
                "g",
                Source::Computed,
            ),
        );
        masses.push((part.element, Centigrams(counted)));
    }
    Ok(Worked { value: masses, working })
}
