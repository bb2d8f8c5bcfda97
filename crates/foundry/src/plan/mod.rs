//! Planning: flasks into kiln loads, loads into burnouts, flasks into pours.
//!
//! A [`Problem`] says what there is: flasks with their programmes and dates,
//! kilns with their floors, staffed hours, one melt furnace. [`solve()`] looks
//! for the plan with the least weighted tardiness, then the fewest loads, then
//! the earliest end, and says how far from the best possible it may be.
//! [`judge`] tells independently whether a plan keeps every rule.
//!
//! All times are whole minutes from midnight of day 0, a Monday; lengths are
//! millimetres. Nothing here knows a clock: whoever calls tells the solver,
//! through a callback, how much of the time allowed is used up.

pub mod judge;

mod calendar;
mod decisions;
mod faults;
mod floor;
mod model;
mod outcome;
mod problem;
mod solve;

pub use decisions::{
    Accepted, Ban, DearHours, Decisions, Longer, OutOfUse, Pin, Poured, Rewet, Stability, UnderWay,
};
pub use faults::{MOST_FAMILIES, MOST_KILNS, MOST_MINUTES, ProblemFault};
pub use outcome::{Bound, Load, Objective, Placed, Plan, Pour, Reason, UnkeptPin, Unplanned};
pub use problem::{
    Calendar, Clearance, Family, Flask, Kiln, Problem, Programme, Segment, SegmentKind,
    SizeProgramme, SpecialDay, Staffed,
};
pub use solve::{
    Binds, Control, Explanation, Opening, Options, Progress, Without, explain, most_on_floor,
    openings, solve,
};
