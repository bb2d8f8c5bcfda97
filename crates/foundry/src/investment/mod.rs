//! Investment: how much powder and water, how long there is to pour it, how long it rests.

mod powder;
mod mix;
mod clock;
mod bench_set;

use crate::quantity::QuantityRefusal;

pub use bench_set::{BenchSetRule, BenchSetState};
pub use clock::{
    ClockStep, ClockTimes, MixingClock, WorkingTime, mixing_clock, slurry_temperature,
};
pub use mix::{
    Bowl, FlaskToFill, Mix, mixes_for_flasks, powder_and_water, powder_density_from_trial,
    slurry_volume,
};
pub use powder::{Binder, Powder, WaterRatio, gypsum_bonded, phosphate_bonded};

/// Why a calculation about investment was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InvestmentRefusal {
    /// A quantity was not finite or out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// A ratio no investment is mixed at.
    #[error(
        "{given} of water to 100 of powder is outside {least} to {greatest}, where {binder} investment still works; look at the powder's data sheet"
    )]
    RatioOutOfRange {
        /// The kind of investment.
        binder: &'static str,
        /// What was given, ml per 100 g.
        given: f64,
        /// Least that is accepted.
        least: f64,
        /// Most that is accepted.
        greatest: f64,
    },
    /// The powder has no ratio of its own and none was given.
    #[error("{powder} has no usual ratio; enter the one on its data sheet")]
    NoRatio {
        /// Name of the powder.
        powder: String,
    },
    /// A flask without room.
    #[error("flask {flask} must have a diameter and a height above zero")]
    NoFlask {
        /// Name of the flask.
        flask: String,
    },
    /// Tree and channels take more room than the flask has.
    #[error(
        "flask {flask}: tree and channels take {taken_cm3:.1} cm³ of the {room_cm3:.1} cm³ inside; check the tree's volume and its unit"
    )]
    TreeFillsFlask {
        /// Name of the flask.
        flask: String,
        /// Volume of tree and channels.
        taken_cm3: f64,
        /// Volume inside the flask.
        room_cm3: f64,
    },
    /// The powder's true density is not above zero.
    #[error("the true density of the powder must be above zero, usually 2.4 to 2.6 g/cm³")]
    NoPowderDensity,
    /// Neither powder nor water.
    #[error("enter the powder and water of the mix first")]
    NoSlurry,
    /// No flask to fill.
    #[error("name at least one flask to fill")]
    NoFlasks,
    /// One flask alone is too much for bowl or pump.
    #[error(
        "flask {flask} needs {needed_cm3:.0} cm³ of slurry, but bowl and pump take {most_cm3:.0} cm³ in one mix; use a larger bowl"
    )]
    TooLargeForBowl {
        /// Name of the flask.
        flask: String,
        /// Slurry for this flask.
        needed_cm3: f64,
        /// The most one mix may have.
        most_cm3: f64,
    },
    /// A number of the bowl that cannot be.
    #[error(
        "the bowl must hold something, rise by a factor of at least 1, and at least one flask must fit under the bell"
    )]
    NoBowl,
    /// The trial gives no density.
    #[error(
        "the trial's slurry ({slurry_ml} ml) must be more than its water ({water_ml} ml), and its powder more than nothing"
    )]
    ImpossibleTrial {
        /// Slurry as measured.
        slurry_ml: f64,
        /// Water as measured.
        water_ml: f64,
    },
    /// A step that takes less than no time.
    #[error("{step} cannot take {minutes} min; enter zero or more")]
    NegativeTime {
        /// Which step.
        step: &'static str,
        /// What was given.
        minutes: f64,
    },
    /// The steps do not fit into the working time.
    #[error(
        "the steps need {needed_min:.1} min, but the slurry stays workable for only {workable_min:.1} min at this temperature; use cooler water or fewer flasks in a mix"
    )]
    TooShortToPour {
        /// Minutes the steps need at the least.
        needed_min: f64,
        /// Minutes to gloss-off less the margin before it.
        workable_min: f64,
    },
    /// The earliest firing would come after the latest.
    #[error(
        "bench set: the earliest firing ({earliest_min} min) must not come after the latest ({latest_min} min)"
    )]
    NoBenchSetWindow {
        /// Earliest, minutes after gloss-off.
        earliest_min: f64,
        /// Latest, minutes after gloss-off.
        latest_min: f64,
    },
}

/// What everybody who opens a bag of powder is told.
pub(crate) const SILICA_CAUTION: &str = "The powder holds crystalline silica, which scars the lungs for good (limit 0.05 mg/m³ over a shift, 29 CFR 1910.1053): weigh and mix under extraction with a fitted respirator, wipe wet, never sweep. The maker's safety data sheet and local rules decide.";
