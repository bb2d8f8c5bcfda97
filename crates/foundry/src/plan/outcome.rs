//! A plan and what is said about it.

use super::decisions::Pin;

/// Loads and pours for the flasks of a problem.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    /// The name of the problem.
    pub instance: String,
    /// The kiln loads, by start.
    pub loads: Vec<Load>,
    /// The pours, by start.
    pub pours: Vec<Pour>,
    /// What the plan achieves.
    pub objective: Objective,
    /// What no plan can undercut.
    pub bound: Bound,
    /// True when no plan of these flasks is better in tardiness, with what moves from an accepted
    /// plan, wetting and dear hours count, then in loads, then in its end. A plan of few flasks may
    /// be proved by going through all others; sets of flasks for which no places on a floor were
    /// found then count as sets that do not fit.
    pub proved_optimal: bool,
    /// Flasks left out, each with the reason.
    pub unplanned: Vec<Unplanned>,
    /// Pins that contradict others or a rule, each with the reason.
    pub unkept: Vec<UnkeptPin>,
    /// Flasks that stand elsewhere than in the accepted plan, when there is one.
    pub moved: Vec<String>,
    /// Flasks that start after their latest start and have to be wetted again.
    pub rewetted: Vec<String>,
    /// What heating in dear hours counts, in weighted minutes of tardiness.
    pub dear_min: i64,
}

/// A pin that cannot be kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnkeptPin {
    /// The pin.
    pub pin: Pin,
    /// Why it cannot be kept.
    pub why: String,
}

/// A kiln load.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// The kiln.
    pub kiln: String,
    /// When loading starts.
    pub start_min: i64,
    /// The members with their places on the floor.
    pub flasks: Vec<Placed>,
}

/// A flask on a kiln's floor; the origin is a corner of the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// The flask.
    pub flask: String,
    /// Centre along the width.
    pub x_mm: f64,
    /// Centre along the depth.
    pub y_mm: f64,
}

/// A pour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pour {
    /// The flask.
    pub flask: String,
    /// When it starts.
    pub start_min: i64,
}

/// What a plan achieves, in the order in which it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Objective {
    /// Sum over flasks of weight times minutes of delay.
    pub weighted_tardiness: i64,
    /// Number of loads.
    pub loads: i64,
    /// End of the last pour.
    pub makespan_min: i64,
}

impl Objective {
    /// What a plan proved to be the best says of all others.
    pub(super) fn as_bound(self) -> Bound {
        Bound { weighted_tardiness: self.weighted_tardiness, loads: self.loads }
    }
}

/// What no plan of the same flasks can undercut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Bound {
    /// Least weighted tardiness.
    pub weighted_tardiness: i64,
    /// Least number of loads.
    pub loads: i64,
}

/// A flask left out of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unplanned {
    /// The flask.
    pub flask: String,
    /// Why.
    pub reason: Reason,
}

/// Why a flask is left out of a plan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Reason {
    /// Higher than every kiln it may go into allows.
    #[error(
        "it is too tall: with the clearance above it, it needs {needed_mm} mm, and the tallest kiln it may go into has {tallest_mm} mm"
    )]
    TooTall {
        /// Height with clearance, rounded up to whole millimetres.
        needed_mm: i64,
        /// The tallest kiln it may go into, rounded down to whole millimetres.
        tallest_mm: i64,
    },
    /// Wider than every floor allows.
    #[error(
        "it is too wide: with the clearance to the walls it needs {needed_mm} mm both ways, and no kiln tall enough has such a floor"
    )]
    TooWide {
        /// Diameter with clearance, rounded up to whole millimetres.
        needed_mm: i64,
    },
    /// Every kiln is forbidden to it.
    #[error("it is forbidden in every kiln")]
    NoKiln,
    /// The latest start lies before the time it is ready.
    #[error(
        "its latest load start, minute {latest_min}, lies before the minute it is ready, {ready_min}"
    )]
    WindowClosed {
        /// When it is ready.
        ready_min: i64,
        /// Its latest load start.
        latest_min: i64,
    },
    /// Alone, with everything else out of the way, no start in its time leads to a pour in hours.
    #[error(
        "even alone in a kiln, no load start from minute {from_min} to minute {to_min} lies in staffed hours and leads to a pour in staffed hours within the longest hold and the horizon"
    )]
    NoStart {
        /// From this minute,
        from_min: i64,
        /// to this minute.
        to_min: i64,
    },
    /// Pins or loads under way that cannot all be kept.
    #[error("the decisions about it cannot all be kept: {0}")]
    Decisions(String),
    /// It could be planned alone, but beside the others no place was found in its time.
    #[error(
        "beside the other flasks no place was found for it: kilns and furnace are taken in every staffed hour from minute {from_min} to minute {to_min}"
    )]
    NoRoom {
        /// From this minute,
        from_min: i64,
        /// to this minute.
        to_min: i64,
    },
    /// A reason in the words of whoever made the plan.
    #[error("{0}")]
    Said(String),
}
