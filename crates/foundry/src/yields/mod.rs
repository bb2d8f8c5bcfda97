//! What works, and how far a few pieces may be trusted to show it.
//!
//! Rates come with their Wilson interval, two ways of working are compared by Fisher's exact
//! test, and nothing is claimed where the numbers are too small to show anything.

mod interval;
mod fisher;
mod trial;
mod pareto;
mod control;
mod individuals;
mod groups;
mod spares;
mod limit;

use crate::quantity::QuantityRefusal;

pub use control::{ControlLimits, ControlPoint, Lot, PChart, p_chart};
pub use fisher::{Fisher, fisher_exact};
pub use groups::{GroupMean, GroupValue, LEAST_OF_GROUP, group_mean};
pub use individuals::{IndividualsChart, individuals_chart};
pub use interval::{YieldInterval, wilson};
pub use limit::{LEAST_CASTINGS, LEAST_OF_EITHER, Limit, LimitFit, LimitSeen, Outcome, fit_limit};
pub use pareto::{CauseRow, pareto};
pub use spares::chance_of_enough;
pub use trial::{
    Comparison, MOST_PIECES_EACH, TrialSize, Verdict, compare, pieces_for_trial, power_of_trial,
    smallest_trial,
};

/// Pieces that came out good and bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Tally {
    /// Good ones.
    pub good: u32,
    /// Failed ones.
    pub bad: u32,
}

impl Tally {
    /// All of them.
    #[must_use]
    pub const fn total(self) -> u64 {
        self.good as u64 + self.bad as u64
    }
}

/// How seldom a claim may be wrong by chance alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Confidence {
    /// One in ten.
    Ninety,
    /// One in twenty, the usual.
    #[default]
    NinetyFive,
    /// One in a hundred.
    NinetyNine,
}

impl Confidence {
    /// In per cent.
    #[must_use]
    pub const fn percent(self) -> f64 {
        match self {
            Self::Ninety => 90.0,
            Self::NinetyFive => 95.0,
            Self::NinetyNine => 99.0,
        }
    }

    /// The share of wrong claims.
    #[must_use]
    pub const fn error(self) -> f64 {
        match self {
            Self::Ninety => 0.10,
            Self::NinetyFive => 0.05,
            Self::NinetyNine => 0.01,
        }
    }

    /// The two-sided quantile of the normal distribution.
    #[must_use]
    pub const fn z(self) -> f64 {
        match self {
            Self::Ninety => 1.644_853_626_951,
            Self::NinetyFive => 1.959_963_984_540,
            Self::NinetyNine => 2.575_829_303_549,
        }
    }
}

/// Why a question about yields was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum YieldRefusal {
    /// A quantity was not finite or out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// Nothing has been counted yet.
    #[error("no pieces have been counted yet")]
    NoPieces,
    /// More pieces than can be compared.
    #[error("{pieces} pieces are more than can be compared exactly; at most {most}")]
    TooMany {
        /// How many there are.
        pieces: u64,
        /// How many are accepted.
        most: u64,
    },
    /// A measurement that is no number.
    #[error("value {at} is not a number; look at that measurement")]
    NotFinite {
        /// Its place, from one.
        at: usize,
    },
    /// Too few castings to say where a limit lies.
    #[error(
        "{good} came out and {bad} did not; a limit needs {LEAST_CASTINGS} castings, {LEAST_OF_EITHER} of either kind at least"
    )]
    TooFewForALimit {
        /// Castings that came out.
        good: usize,
        /// Castings that did not.
        bad: usize,
    },
    /// What was measured of the castings does not tell the good from the failed ones.
    #[error(
        "so far those that came out were no easier than those that did not, so no limit can be told"
    )]
    MarginTellsNothing,
    /// Two yields that are the same cannot be told apart.
    #[error("the two yields must differ, or no trial can tell them apart")]
    SameYields,
    /// A trial that would be larger than a studio makes.
    #[error(
        "more than {most} pieces each would be needed to show this difference; look for a larger one"
    )]
    TooSmallADifference {
        /// The largest trial that is considered.
        most: u32,
    },
    /// More failed than were made.
    #[error("lot {lot}: {bad} failed of {made} made; the numbers must be exchanged or wrong")]
    MoreBadThanMade {
        /// Place of the lot in the list, from one.
        lot: usize,
        /// Failed.
        bad: u32,
        /// Made.
        made: u32,
    },
    /// Too few values of a group, or of others, that can be held against each other.
    #[error(
        "{own} of one's own can be held against {others} of others of the same kind; limits need {LEAST_OF_GROUP} of either"
    )]
    TooFewAlike {
        /// Values of the group.
        own: usize,
        /// Values of others of the same kinds.
        others: usize,
    },
    /// Too few values of a group and kind that has others, so their scatter is not known.
    #[error("only {repeated} repeat another of their group and kind; limits need {least}")]
    TooFewRepeated {
        /// How many do.
        repeated: usize,
        /// How many are needed.
        least: usize,
    },
    /// Too few lots to draw limits.
    #[error("control limits need at least {least} lots; there are {lots}")]
    TooFewLots {
        /// How many there are.
        lots: usize,
        /// How many are needed.
        least: usize,
    },
}
