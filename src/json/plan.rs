//! The written shape of planning problems (`kiln-plan-instance/1`) and plans.
//!
//! Times are whole minutes from midnight of day 0, a Monday; lengths are
//! millimetres. The key `decisions` may be absent.

mod decisions;
mod instance;
mod outcome;

use foundry::plan::{Plan, Problem, ProblemFault};
use serde::de::DeserializeOwned;

pub use decisions::{
    BanJson, DearHoursJson, DecisionsJson, LongerJson, OutOfUseJson, PinJson, PouredJson,
    RewetJson, UnderWayJson,
};
pub use instance::{
    CalendarJson, ClearanceJson, FamilyJson, FlaskJson, InstanceJson, KilnJson, ProgrammeJson,
    SegmentKindJson, SpecialDayJson, WeekJson,
};
pub use outcome::{LoadJson, PlacedJson, PlanJson, UnkeptJson};

/// The schema of planning problems this program reads.
pub const SCHEMA: &str = "kiln-plan-instance/1";

/// Why a text is not a planning problem or not a plan.
#[derive(Debug, thiserror::Error)]
pub enum PlanJsonRefusal {
    /// Not of the expected shape at one place.
    #[error("{place}: {what}")]
    Shape {
        /// The key, with the keys around it.
        place: String,
        /// What is wrong there.
        what: String,
    },
    /// A schema this program does not read.
    #[error("schema: this program reads {SCHEMA}, not {0:?}")]
    Schema(String),
    /// Of the right shape, but not fit to be planned.
    #[error("{}", list(.0))]
    Faults(Vec<ProblemFault>),
}

fn list(faults: &[ProblemFault]) -> String {
    faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

/// A planning problem that was read.
#[derive(Debug)]
pub struct ReadProblem {
    /// The problem, without faults.
    pub problem: Problem,
    /// Keys that mean nothing to this program, with the keys around them.
    pub ignored: Vec<String>,
}

/// Reads a planning problem and looks for faults in it.
pub fn read_problem(text: &str) -> Result<ReadProblem, PlanJsonRefusal> {
    let (instance, ignored) = read::<InstanceJson>(text)?;
    if instance.schema != SCHEMA {
        return Err(PlanJsonRefusal::Schema(instance.schema));
    }
    Ok(ReadProblem { problem: faultless(instance)?, ignored })
}

/// The problem that is written, if it has no faults.
pub fn faultless(instance: InstanceJson) -> Result<Problem, PlanJsonRefusal> {
    let problem = Problem::from(instance);
    let faults = problem.faults();
    if faults.is_empty() { Ok(problem) } else { Err(PlanJsonRefusal::Faults(faults)) }
}

/// Reads a plan, for instance to have it judged.
pub fn read_plan(text: &str) -> Result<Plan, PlanJsonRefusal> {
    read::<PlanJson>(text).map(|(plan, _)| Plan::from(plan))
}

/// Writes a plan and the seconds it took.
#[must_use]
pub fn write_plan(plan: &Plan, seconds: f64) -> PlanJson {
    PlanJson::new(plan, seconds)
}

fn read<T: DeserializeOwned>(text: &str) -> Result<(T, Vec<String>), PlanJsonRefusal> {
    let mut ignored = Vec::new();
    let mut json = serde_json::Deserializer::from_str(text);
    let mut track = serde_path_to_error::Track::new();
    let tracked = serde_path_to_error::Deserializer::new(&mut json, &mut track);
    let value = serde_ignored::deserialize(tracked, |path| ignored.push(path.to_string()));
    let value = match value {
        Ok(value) => value,
        Err(error) => {
            let place = track.path().to_string();
            let place = if place == "." { "the whole text".to_owned() } else { place };
            return Err(PlanJsonRefusal::Shape { place, what: error.to_string() });
        }
    };
    json.end().map_err(|error| PlanJsonRefusal::Shape {
        place: "after the end".to_owned(),
        what: error.to_string(),
    })?;
    Ok((value, ignored))
}

#[cfg(test)]
mod tests;
