//! When one flask more could be poured beside a plan.

use std::collections::HashMap;

use crate::plan::calendar::Min;
use crate::plan::faults::ProblemFault;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::Plan;
use crate::plan::problem::{Flask, Problem};

use super::board::Timing;
use super::draft::{Draft, Unit};
use super::schedule::Schedule;

/// Openings are looked for at every so many minutes; what is ready in between waits for the next.
const EVERY_MIN: Min = 15;

/// A place in the plan for one flask more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opening {
    /// It can be taken by whoever is ready by then.
    pub ready_by_min: i64,
    /// The kiln.
    pub kiln: String,
    /// When the load starts.
    pub start_min: i64,
    /// When the flask's pour ends.
    pub poured_min: i64,
    /// The load is in the plan already, and has room.
    pub joins: bool,
}

/// When a flask could be poured, by the minute at which it is ready, everything that is planned
/// staying where it is: in a load of the plan with room for it, or in a new one.
///
/// Ascending; the first opening whose `ready_by_min` is not past is the earliest pour. Empty when
/// the flask fits no kiln. Nothing is said beyond the horizon.
///
/// # Assumes
/// The plan keeps the rules ([`crate::plan::judge`]); the flask's own `ready_min`,
/// `latest_start_min` and dates are left out of account.
///
/// # Refuses
/// A problem that has faults together with the flask, each named.
pub fn openings(
    problem: &Problem,
    plan: &Plan,
    flask: &Flask,
) -> Result<Vec<Opening>, Vec<ProblemFault>> {
    let mut problem = problem.clone();
    let from = problem.decisions.not_before_min.max(0);
    problem.flasks.push(Flask {
        ready_min: from,
        latest_start_min: None,
        due_min: problem.horizon_min,
        ..flask.clone()
    });
    let faults = problem.faults();
    if !faults.is_empty() {
        return Err(faults);
    }
    let (model, mut floors) = Model::new(&problem);
    let new = (problem.flasks.len() - 1) as FlaskNo;
    let units: Vec<Unit> = (0..=new).map(|flask| Unit::new(&model, vec![flask])).collect();
    let mut schedule = entered(&problem, plan, &model, &units);

    let joined = joins(&mut schedule, &mut floors, &units, new);
    let mut found: Vec<Opening> = Vec::new();
    let mut at = from as Min;
    let mut timing = Timing::default();
    while at < model.horizon {
        let mut best: Option<(Min, Min, usize, bool)> = None;
        let mut consider = |poured: Min, start: Min, kiln: usize, joins: bool| {
            if poured <= model.horizon
                && best.is_none_or(|least| (poured, !joins) < (least.0, !least.3))
            {
                best = Some((poured, start, kiln, joins));
            }
        };
        for &(start, poured, kiln) in joined.iter().filter(|one| one.0 >= at) {
            consider(poured, start, kiln, true);
        }
        for kiln in 0..model.kilns.len() {
            let mut draft = Draft { kiln, units: vec![new], delay: at, ..Draft::default() };
            draft.derive(&model, &units);
            if draft.possible(&model, &mut floors, &units)
                && schedule.board.earliest(&draft.wanted(), &mut timing)
            {
                consider(timing.pours[0] + model.pour_min, timing.start, kiln, false);
            }
        }
        let Some((poured, start, kiln, joins)) = best else { break };
        // Whoever is ready a little earlier finds this opening too.
        found.push(Opening {
            ready_by_min: start.max(at).into(),
            kiln: problem.kilns[kiln].id.clone(),
            start_min: start.into(),
            poured_min: poured.into(),
            joins,
        });
        at = (start.max(at) / EVERY_MIN + 1) * EVERY_MIN;
    }
    Ok(found)
}

/// The plan as a schedule; units are numbered like the flasks.
pub(super) fn entered<'m>(
    problem: &Problem,
    plan: &Plan,
    model: &'m Model,
    units: &[Unit],
) -> Schedule<'m> {
    let numbers: HashMap<&str, FlaskNo> =
        (0..).zip(&problem.flasks).map(|(number, flask)| (flask.id.as_str(), number)).collect();
    let pours: HashMap<&str, i64> =
        plan.pours.iter().map(|pour| (pour.flask.as_str(), pour.start_min)).collect();
    let mut schedule = Schedule::new(model);
    for load in &plan.loads {
        let Some(kiln) = problem.kilns.iter().position(|kiln| kiln.id == load.kiln) else {
            continue;
        };
        let mut members: Vec<(Min, FlaskNo)> = load
            .flasks
            .iter()
            .filter_map(|placed| {
                let at = pours.get(placed.flask.as_str())?;
                Some((*at as Min, *numbers.get(placed.flask.as_str())?))
            })
            .collect();
        members.sort_unstable();
        let under_way = problem
            .decisions
            .under_way
            .iter()
            .any(|one| one.kiln == load.kiln && one.start_min == load.start_min);
        let mut draft = Draft {
            kiln,
            units: members.iter().map(|one| one.1).collect(),
            exactly: Some(load.start_min as Min),
            under_way,
            ..Draft::default()
        };
        draft.derive(model, units);
        draft.order = members.iter().map(|one| one.1).collect();
        let timing = Timing {
            start: load.start_min as Min,
            pours: members.iter().map(|one| one.0).collect(),
        };
        if !members.is_empty() {
            schedule.put(draft, timing);
        }
    }
    schedule
}

/// Loads of the plan that take the flask: start, end of its pour, kiln.
fn joins(
    schedule: &mut Schedule<'_>,
    floors: &mut crate::plan::floor::Floors,
    units: &[Unit],
    new: FlaskNo,
) -> Vec<(Min, Min, usize)> {
    let model = schedule.board.model;
    let mut found = Vec::new();
    let (mut sizes, mut timing) = (Vec::new(), Timing::default());
    for number in 0..schedule.loads.len() {
        let (old, old_timing) = schedule.loads[number].clone();
        if !old.takes(model, floors, &units[usize::from(new)], &mut sizes) {
            continue;
        }
        schedule.board.lift(old.kiln, &old_timing);
        let mut draft = old.clone();
        draft.units.push(new);
        draft.derive(model, units);
        if schedule.board.earliest(&draft.wanted(), &mut timing)
            && let Some(place) = draft.order.iter().position(|&flask| flask == new)
        {
            found.push((timing.start, timing.pours[place] + model.pour_min, old.kiln));
        }
        schedule.board.enter(old.kiln, old.programme, &old.order, &old_timing);
    }
    found
}
