//! Promises: the day by which an order is ready, with the chance that it is.
//!
//! An order's pieces are sent through the stages that are left many times over. In each run the
//! yields of the stages are drawn from what the studio has counted, waits and works from what it
//! has timed, and what fails is printed again; kiln and furnace are those of the plan
//! ([`crate::plan::openings`]). The share of runs that are ready by a day is the chance of
//! that day.
//!
//! # Source
//! Beta posterior of a yield: T. Bayes, Philosophical Transactions 53 (1763) 370; A. Gelman
//! et al., Bayesian Data Analysis, 3rd ed., 2013, section 2.4. Drawing a duration from what was
//! timed, and now and then from the prior: the predictive rule of T. S. Ferguson, The Annals of
//! Statistics 1 (1973) 209; D. Blackwell and J. B. MacQueen, ibid. 353.

mod draw;
mod hours;
mod habits;
mod run;

pub use habits::{Clocked, Durations, Habits, StageHabit, usual_habits};
pub use hours::{staffed_from, staffed_until};
pub use run::{Forecast, Group, Progress, PromiseRefusal, Way, forecast};

/// The stages of a piece. Burnout and cast are one step here: from the flask that has set to
/// the casting that can be worked on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Printing the pattern.
    Print,
    /// Washing and curing it.
    Cure,
    /// Treeing and investing, until the flask has set.
    Invest,
    /// Burning out.
    Burnout,
    /// Pouring.
    Cast,
    /// Finishing.
    Finish,
}

impl Stage {
    /// All of them, in order.
    pub const ALL: [Self; 6] =
        [Self::Print, Self::Cure, Self::Invest, Self::Burnout, Self::Cast, Self::Finish];

    /// Its place in the order.
    #[must_use]
    pub const fn place(self) -> usize {
        self as usize
    }

    /// What it is called.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Print => "print",
            Self::Cure => "cure",
            Self::Invest => "invest",
            Self::Burnout => "burnout",
            Self::Cast => "cast",
            Self::Finish => "finish",
        }
    }
}
