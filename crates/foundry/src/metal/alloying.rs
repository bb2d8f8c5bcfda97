//! Alloying up and down with what a scale can show, and with what there is.

use rust_decimal::Decimal;

use crate::source::Source;
use crate::working::{Figure, Worked};

use super::{Addition, Fineness, MetalRefusal, bring_to_fineness};

/// An addition as it is weighed out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighed {
    /// The exact addition, before the scale.
    pub exact: Addition,
    /// What is put on the scale, a whole number of its steps.
    pub add: Decimal,
    /// The melt afterwards.
    pub total: Decimal,
    /// The fineness that gives; never below the target.
    pub reached: Fineness,
}

/// The same as [`bring_to_fineness`], with the addition rounded to the steps of a scale so
/// that the fineness is reached: metal finer than the target is rounded up, metal less fine
/// than it is rounded down.
///
/// # Units
/// `mass` and `step` in one unit (`unit` is only printed); the results are in the same.
///
/// # Accuracy
/// Exact up to the 28 digits of the quotients; melting losses are not in it.
///
/// # Source
/// There is no minus tolerance on a fineness: Finnish Safety and Chemicals Agency (Tukes),
/// fineness requirements; so the rounding goes to the finer side.
///
/// # Refuses
/// What [`bring_to_fineness`] refuses, and a step that is not above zero.
pub fn addition_on_scale(
    mass: Decimal,
    unit: &'static str,
    from: Fineness,
    target: Fineness,
    addition: Fineness,
    step: Decimal,
) -> Result<Worked<Weighed>, MetalRefusal> {
    if step <= Decimal::ZERO {
        return Err(MetalRefusal::NoMass {
            what: "the step of the scale",
            grams: step.to_string(),
        });
    }
    let Worked { value: exact, mut working } =
        bring_to_fineness(mass, unit, from, target, addition)?;
    let steps = exact.add.checked_div(step).ok_or(MetalRefusal::TooLarge)?;
    let finer = addition > target;
    let whole = if finer { steps.ceil() } else { steps.floor() };
    let add = whole.checked_mul(step).ok_or(MetalRefusal::TooLarge)?.normalize();
    let total = mass.checked_add(add).ok_or(MetalRefusal::TooLarge)?;
    let reached = mixed(&[(mass, from), (add, addition)])?;
    working.step(
        if finer {
            "to be added, rounded up to the scale"
        } else {
            "to be added, rounded down to the scale"
        },
        vec![
            Figure::exact("to be added", exact.add, unit, Source::Computed),
            Figure::exact("step of the scale", step, unit, Source::Entered),
        ],
        Figure::exact("to weigh out", add, unit, Source::Computed),
    );
    working.step(
        "(mass × its fineness + addition × its fineness) ÷ (mass + addition)",
        vec![
            Figure::exact("mass", mass, unit, Source::Entered),
            Figure::exact("fineness of the melt", from.per_mille(), "‰", Source::Entered),
            Figure::exact("to weigh out", add, unit, Source::Computed),
            Figure::exact("fineness of the addition", addition.per_mille(), "‰", Source::Entered),
        ],
        Figure::exact("fineness reached", reached.per_mille(), "‰", Source::Computed),
    );
    Ok(Worked { value: Weighed { exact, add, total, reached }, working })
}

/// The fineness of portions melted together, nothing lost.
///
/// # Refuses
/// Portions that weigh nothing together, numbers too large to be kept exactly.
pub fn mixed(portions: &[(Decimal, Fineness)]) -> Result<Fineness, MetalRefusal> {
    let (mut total, mut fine) = (Decimal::ZERO, Decimal::ZERO);
    for (mass, fineness) in portions {
        let part = mass.checked_mul(fineness.thrice()).ok_or(MetalRefusal::TooLarge)?;
        total = total.checked_add(*mass).ok_or(MetalRefusal::TooLarge)?;
        fine = fine.checked_add(part).ok_or(MetalRefusal::TooLarge)?;
    }
    let thrice = fine
        .checked_div(total)
        .ok_or(MetalRefusal::NoMass { what: "a melt", grams: total.to_string() })?;
    Fineness::from_thrice(thrice)
}

/// How much of a melt can be brought to a fineness when only so much of the addition is there.
///
/// `W = x·(a − t)/(t − f)`, the addition formula solved for the melt, rounded down to the step.
///
/// # Refuses
/// What [`bring_to_fineness`] refuses.
pub fn most_for_addition(
    at_hand: Decimal,
    unit: &'static str,
    from: Fineness,
    target: Fineness,
    addition: Fineness,
    step: Decimal,
) -> Result<Worked<Decimal>, MetalRefusal> {
    if step <= Decimal::ZERO {
        return Err(MetalRefusal::NoMass {
            what: "the step of the scale",
            grams: step.to_string(),
        });
    }
    // Melt and addition change places: the addition is brought to the target by the melt.
    let Worked { value, mut working } = bring_to_fineness(at_hand, unit, addition, target, from)?;
    let steps = value.add.checked_div(step).ok_or(MetalRefusal::TooLarge)?;
    let most = steps.floor().checked_mul(step).ok_or(MetalRefusal::TooLarge)?.normalize();
    working.step(
        "the most that can be brought there, rounded down to the scale",
        vec![
            Figure::exact("exact", value.add, unit, Source::Computed),
            Figure::exact("step of the scale", step, unit, Source::Entered),
        ],
        Figure::exact("melt", most, unit, Source::Computed),
    );
    Ok(Worked { value: most, working })
}
