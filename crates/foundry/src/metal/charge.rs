//! The charge: how much metal goes into the crucible, and what came of it.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::quantity::{Centigrams, Grams, Share};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

use super::alloy::{Density, Family, ShareRange};
use super::piece::pattern_to_metal_ratio;
use super::{Alloy, MetalRefusal};

/// How the metal of pieces and tree is known.
#[derive(Debug, Clone, PartialEq)]
pub enum MetalOnTree {
    /// The finished tree was weighed with its base and the base alone.
    Weighed {
        /// Tree and base.
        with_base: Grams,
        /// Base alone.
        base: Grams,
        /// Density of the pattern material.
        pattern_density: Density,
    },
    /// Metal masses worked out from volumes.
    Parts {
        /// All pieces.
        pieces: Grams,
        /// Sprue, runners and stem.
        tree: Grams,
    },
}

/// The metal kept on top of the tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Button {
    /// A fixed mass.
    Mass(Grams),
    /// A share of the metal of pieces and tree.
    ShareOfTree(Share),
}

/// What a charge is worked out from.
#[derive(Debug, Clone, PartialEq)]
pub struct ChargeInput<'a> {
    /// The alloy, which needs a density when the tree was weighed.
    pub alloy: &'a Alloy,
    /// The metal of pieces and tree.
    pub tree: MetalOnTree,
    /// The button.
    pub button: Button,
    /// Share of the charge lost in melting.
    pub loss: Sourced<Share>,
    /// The least share of fresh metal.
    pub least_fresh: Share,
    /// Returns of this alloy at hand; `None` when it does not matter.
    pub returns_at_hand: Option<Centigrams>,
}

/// A charge, counted to the hundredth of a gram.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charge {
    /// Metal of pieces and tree.
    pub on_tree: Grams,
    /// Metal of the button.
    pub button: Grams,
    /// What to melt, rounded up.
    pub total: Centigrams,
    /// Of it, fresh metal.
    pub fresh: Centigrams,
    /// Of it, returns.
    pub returns: Centigrams,
}

/// A melting loss of this share or more is not believed.
const MOST_LOSS: f64 = 0.5;
/// Rounding up ignores less than this many hundredths of a gram, so that binary fractions of a sum do not cost one.
const ROUNDING_SLACK_CG: f64 = 1e-6;

/// Works out the metal to melt for a tree.
///
/// The metal needed is divided by 1 − loss, never multiplied by 1 + loss, and the
/// charge is rounded up to a hundredth of a gram. Contraction is not taken off: the
/// mould is as large as the pattern.
///
/// # Refuses
/// A tree no heavier than its base, an unknown density for a weighed tree, a loss of half or more.
pub fn charge(input: &ChargeInput<'_>) -> Result<Worked<Charge>, MetalRefusal> {
    let mut working = Working::default();
    let on_tree = metal_on_tree(input, &mut working)?;
    let (button, button_source) = match input.button {
        Button::Mass(mass) => (mass, Source::Entered),
        Button::ShareOfTree(share) => {
            let button = on_tree * share.get();
            working.step(
                "metal of pieces and tree × share",
                vec![
                    Figure::real("metal of pieces and tree", on_tree.get(), "g", Source::Computed),
                    Figure::real("share for the button", share.percent(), "%", Source::Entered),
                ],
                Figure::real("button", button.get(), "g", Source::Computed),
            );
            (button, Source::Computed)
        }
    };
    let loss = input.loss.value.get();
    if loss >= MOST_LOSS {
        return Err(MetalRefusal::LossTooGreat { percent: input.loss.value.percent() });
    }
    let needed = Grams::new((on_tree.get() + button.get()) / (1.0 - loss))?;
    let total_cg = (needed.get() * 100.0 - ROUNDING_SLACK_CG).ceil().max(0.0);
    let total = Centigrams(total_cg as i64);
    working.step(
        "(pieces and tree + button) ÷ (1 − loss), rounded up to 0.01 g",
        vec![
            Figure::real("metal of pieces and tree", on_tree.get(), "g", Source::Computed),
            Figure::real("button", button.get(), "g", button_source),
            Figure::real(
                "melting loss",
                input.loss.value.percent(),
                "%",
                input.loss.source.clone(),
            ),
        ],
        Figure::exact("charge", grams_of(total), "g", Source::Computed),
    );
    let (fresh, returns) = share_out(input, total, &mut working);
    if matches!(input.alloy.family, Family::Platinum | Family::Palladium) && returns.0 > 0 {
        working.warn("Platinum and palladium returns pick up silica and gases; use more fresh metal or have them refined (common practice, no source).");
    }
    if input.alloy.family == Family::Brass {
        working.warn("Zinc boils off brass: the loss varies with heat and time, and the fumes must be drawn off; follow the alloy maker's safety data sheet.");
    }
    working.warn("Charge only dry, clean metal; moisture under molten metal makes it erupt. Follow the furnace maker's instructions.");
    Ok(Worked { value: Charge { on_tree, button, total, fresh, returns }, working })
}

fn metal_on_tree(input: &ChargeInput<'_>, working: &mut Working) -> Result<Grams, MetalRefusal> {
    match &input.tree {
        MetalOnTree::Parts { pieces, tree } => {
            let sum = Grams::new(pieces.get() + tree.get())?;
            if sum.get() <= 0.0 {
                return Err(MetalRefusal::NoMass {
                    what: "pieces and tree",
                    grams: sum.get().to_string(),
                });
            }
            working.step(
                "pieces + tree",
                vec![
                    Figure::real("pieces", pieces.get(), "g", Source::Entered),
                    Figure::real("tree", tree.get(), "g", Source::Entered),
                ],
                Figure::real("metal of pieces and tree", sum.get(), "g", Source::Computed),
            );
            Ok(sum)
        }
        MetalOnTree::Weighed { with_base, base, pattern_density } => {
            let pattern = with_base.get() - base.get();
            if pattern <= 0.0 {
                return Err(MetalRefusal::TreeLighterThanBase {
                    with_base_g: with_base.get(),
                    base_g: base.get(),
                });
            }
            let density = input.alloy.density.as_ref().ok_or_else(|| MetalRefusal::NoDensity {
                what: input.alloy.name.chars().take(80).collect(),
            })?;
            let ratio = pattern_to_metal_ratio(density, pattern_density)?;
            let metal = Grams::new(pattern * ratio)?;
            working.step(
                "tree with base − base",
                vec![
                    Figure::real("tree with base", with_base.get(), "g", Source::MeasuredHere),
                    Figure::real("base", base.get(), "g", Source::MeasuredHere),
                ],
                Figure::real("tree", pattern, "g", Source::Computed),
            );
            working.step(
                "tree × density of the alloy ÷ density of the pattern",
                vec![
                    Figure::real("tree", pattern, "g", Source::Computed),
                    Figure::real(
                        "density of the alloy",
                        density.value.get(),
                        "g/cm³",
                        density.source.clone(),
                    ),
                    Figure::real(
                        "density of the pattern",
                        pattern_density.value.get(),
                        "g/cm³",
                        pattern_density.source.clone(),
                    ),
                ],
                Figure::real("metal of pieces and tree", metal.get(), "g", Source::Computed),
            );
            // Where both are as exact as their figures are shown, there is nothing to cover.
            if density.tolerance.percent().max(pattern_density.tolerance.percent()) >= 0.05 {
                working.warn(format!(
                    "Densities are known to ±{:.1} % (alloy) and ±{:.1} % (pattern); let the button cover it.",
                    density.tolerance.percent(),
                    pattern_density.tolerance.percent()
                ));
            }
            Ok(metal)
        }
    }
}

/// Splits a charge: at least the wanted share fresh, the rest returns as far as there are any.
fn share_out(
    input: &ChargeInput<'_>,
    total: Centigrams,
    working: &mut Working,
) -> (Centigrams, Centigrams) {
    let exact = total.0 as f64 * input.least_fresh.get();
    let least_fresh = (exact - ROUNDING_SLACK_CG).ceil().max(0.0) as i64;
    let wanted_returns = total.0 - least_fresh.min(total.0);
    let at_hand = input.returns_at_hand.map_or(wanted_returns, |at_hand| at_hand.0.max(0));
    let returns = Centigrams(wanted_returns.min(at_hand));
    let fresh = Centigrams(total.0 - returns.0);
    working.step(
        "charge × least share of fresh metal, rounded up; the rest returns, as far as at hand",
        vec![
            Figure::exact("charge", grams_of(total), "g", Source::Computed),
            Figure::real("least share fresh", input.least_fresh.percent(), "%", Source::Entered),
            Figure::exact("returns at hand", Decimal::new(at_hand, 2), "g", Source::Entered),
        ],
        Figure::exact("fresh metal", grams_of(fresh), "g", Source::Computed),
    );
    working.step(
        "charge − fresh metal",
        vec![
            Figure::exact("charge", grams_of(total), "g", Source::Computed),
            Figure::exact("fresh metal", grams_of(fresh), "g", Source::Computed),
        ],
        Figure::exact("returns", grams_of(returns), "g", Source::Computed),
    );
    (fresh, returns)
}

fn grams_of(mass: Centigrams) -> Decimal {
    Decimal::new(mass.0, 2)
}

/// The usual range of melting loss of a family, to start from until pours have been weighed.
///
/// # Source
/// Common practice, no source: precious alloys melted clean 0.1 to 2 %, bronzes 1 to 3 %,
/// brass 2 to 6 % because zinc boils off.
#[must_use]
pub fn typical_melt_loss(family: Family) -> Sourced<ShareRange> {
    let (least, greatest) = match family {
        Family::Silver | Family::Gold => (0.1, 2.0),
        Family::Platinum | Family::Palladium => (0.1, 1.0),
        Family::SiliconBronze | Family::TinBronze | Family::Other => (1.0, 3.0),
        Family::Brass => (2.0, 6.0),
    };
    let share = |percent| Share::from_percent(percent).unwrap_or(Share::NONE);
    Sourced {
        value: ShareRange { least: share(least), greatest: share(greatest) },
        source: Source::CommonPractice,
    }
}

/// What a pour lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Balance {
    /// Poured less everything that came back; negative when more came back than was poured.
    pub lost: Centigrams,
    /// The same as an exact share of what was poured.
    pub lost_share: Decimal,
}

/// Balances a pour: charge against pieces and returns.
///
/// # Accuracy
/// Exact.
///
/// # Refuses
/// A charge that is not above zero.
pub fn balance(
    charged: Centigrams,
    pieces: Centigrams,
    returns: Centigrams,
) -> Result<Worked<Balance>, MetalRefusal> {
    if charged.0 <= 0 {
        return Err(MetalRefusal::NoMass {
            what: "the charge",
            grams: grams_of(charged).to_string(),
        });
    }
    let back = pieces.0.checked_add(returns.0).ok_or(MetalRefusal::TooLarge)?;
    let lost = Centigrams(charged.0.checked_sub(back).ok_or(MetalRefusal::TooLarge)?);
    let lost_share = (Decimal::from(lost.0) / Decimal::from(charged.0)).normalize();
    let mut working = Working::default();
    working.step(
        "charge − pieces − returns",
        vec![
            Figure::exact("charge", grams_of(charged), "g", Source::MeasuredHere),
            Figure::exact("pieces", grams_of(pieces), "g", Source::MeasuredHere),
            Figure::exact("returns", grams_of(returns), "g", Source::MeasuredHere),
        ],
        Figure::exact("lost", grams_of(lost), "g", Source::Computed),
    );
    working.step(
        "lost ÷ charge × 100",
        vec![
            Figure::exact("lost", grams_of(lost), "g", Source::Computed),
            Figure::exact("charge", grams_of(charged), "g", Source::MeasuredHere),
        ],
        Figure::exact("loss", lost_share * Decimal::ONE_HUNDRED, "%", Source::Computed),
    );
    if lost.0 < 0 {
        working.warn("More metal came back than was charged: weigh again, and look for investment left on the castings or metal of another melt.");
    } else if lost_share.to_f64().is_some_and(|share| share > 0.05) {
        working.warn("More than 5 % is missing: look for spilt metal, metal left in the crucible, and pieces not yet weighed.");
    }
    Ok(Worked { value: Balance { lost, lost_share }, working })
}
