//! Alloys, fineness, and how much metal a casting needs.
//!
//! Densities and temperatures carry their source and tolerance. Fineness and
//! the weights of the trade are exact decimals; masses that were weighed or
//! computed from a volume are measured quantities.

mod element;
mod composition;
mod alloy;
mod built_in;
mod mixture;
mod fineness;
mod alloying;
mod weights;
mod piece;
mod charge;
mod expect;

use rust_decimal::Decimal;

use crate::quantity::QuantityRefusal;

pub use alloy::{Alloy, AlloyFault, Density, Family, ShareRange, TemperatureRange};
pub use alloying::{Weighed, addition_on_scale, mixed, most_for_addition};
pub use built_in::{alloy_by_key, alloys};
pub use charge::{
    Balance, Button, Charge, ChargeInput, MetalOnTree, balance, charge, typical_melt_loss,
};
pub use composition::{Composition, Part, Portion, melt_together, weigh_out};
pub use element::Element;
pub use expect::{
    Expected, FINISHED_LEAST, FINISHED_MOST, LOSS_MOST, POUR_LEAST, POUR_MOST, RAW_LEAST, RAW_MOST,
    RAW_STUB_G, TREE_LEAST, TREE_MOST, TREE_SPRUE_G, expected_castings, expected_finished,
    expected_pour, expected_tree, unlikely_loss,
};
pub use fineness::{
    Addition, Fineness, MarkList, PreciousMetal, bring_to_fineness, mark_for, standards,
};
pub use mixture::{AdditiveDensity, ErrorBand, additive_density, additive_density_with};
pub use piece::{
    PatternMaterial, metal_mass_from_pattern, metal_mass_from_volume, pattern_materials,
    pattern_to_metal_ratio,
};
pub use weights::{WeightUnit, convert_weight};

/// Why a calculation about metal was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MetalRefusal {
    /// A quantity was not finite or out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// A density of zero cannot be divided by.
    #[error(
        "the density of {what} must be above zero; weigh a sample or take it from the maker's data sheet"
    )]
    NoDensity {
        /// The material.
        what: String,
    },
    /// No part was named.
    #[error("a composition needs at least one metal with its parts per thousand")]
    EmptyComposition,
    /// A share of a composition is negative.
    #[error("{symbol} is given as {per_mille} parts per thousand; a part cannot be negative")]
    NegativePart {
        /// Chemical symbol.
        symbol: &'static str,
        /// What was given.
        per_mille: Decimal,
    },
    /// One metal is named twice.
    #[error("{symbol} is named twice; add its parts together")]
    NamedTwice {
        /// Chemical symbol.
        symbol: &'static str,
    },
    /// The parts do not add up to the whole.
    #[error(
        "the parts add up to {sum} per thousand instead of 1000; correct them, or let one metal take the rest"
    )]
    PartsDoNotAddUp {
        /// Their sum.
        sum: Decimal,
    },
    /// A fineness outside 0 to 1000.
    #[error("a fineness is between 0 and 1000 parts per thousand; {per_mille} was given")]
    FinenessOutOfRange {
        /// What was given.
        per_mille: Decimal,
    },
    /// Karats outside 0 to 24.
    #[error("karats run from 0 to 24; {karat} was given")]
    KaratOutOfRange {
        /// What was given.
        karat: Decimal,
    },
    /// The metal to be added cannot lead to the target.
    #[error(
        "metal of fineness {addition} cannot bring {from} to {target}; the target must lie between the two"
    )]
    CannotReach {
        /// Fineness of the melt, per thousand.
        from: Decimal,
        /// Fineness wanted, per thousand.
        target: Decimal,
        /// Fineness of the added metal, per thousand.
        addition: Decimal,
    },
    /// A mass that has to be above zero is not.
    #[error("{what} must weigh more than nothing; {grams} g was given")]
    NoMass {
        /// What should have been weighed.
        what: &'static str,
        /// What was given, in grams.
        grams: String,
    },
    /// The tree weighs no more than the base it stands on.
    #[error(
        "the tree with its base weighs {with_base_g} g and the base alone {base_g} g; weigh both again"
    )]
    TreeLighterThanBase {
        /// Tree and base, grams.
        with_base_g: f64,
        /// Base alone, grams.
        base_g: f64,
    },
    /// A loss so great that hardly anything would be left.
    #[error("a melting loss of {percent} % is not credible; it must stay below 50 %")]
    LossTooGreat {
        /// The loss given, per cent.
        percent: f64,
    },
    /// Silicon does not keep its own volume in copper.
    #[error(
        "the density of an alloy with {per_mille} parts per thousand of silicon cannot be computed from its composition (the result would be 3 to 6 % too light); weigh a sample in water or use the data sheet"
    )]
    SiliconNeedsMeasuredDensity {
        /// Silicon, per thousand.
        per_mille: Decimal,
    },
    /// The numbers have more digits than can be kept.
    #[error("the numbers are too large to be computed exactly; check for a slipped decimal point")]
    TooLarge,
}
