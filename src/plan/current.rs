//! The plan as it stands: loads that were agreed or are under way, as the planner reads plans.

use std::collections::{HashMap, HashSet};

use foundry::plan::judge::{Rule, achieved, check};
use foundry::plan::{Accepted, Load, Placed, Plan, Pour, Problem, Reason, Stability, Unplanned};
use sqlx::PgPool;

use super::grid::Grid;
use super::instance::Instance;
use super::view::{self, AskedFlask};
use crate::id::KilnLoadId;

/// A load that begins or is held so many minutes late is still as planned.
const GRACE_MIN: i64 = 15;
/// More flasks than so many are counted, not named.
const MOST_NAMED: usize = 12;

/// The loads as they stand, of flasks that the problem knows; whoever stands in none is left out.
pub(super) async fn current(
    pool: &PgPool,
    problem: &Problem,
    studio: &Instance,
) -> Result<Plan, sqlx::Error> {
    let grid = &studio.grid;
    let rows = view::standing(pool).await?;
    let known: HashSet<&str> = problem.flasks.iter().map(|flask| flask.id.as_str()).collect();
    let mut plan = Plan { instance: problem.id.clone(), ..Plan::default() };
    let mut last: Option<KilnLoadId> = None;
    for row in rows {
        let flask = row.flask.to_string();
        if !known.contains(flask.as_str()) {
            continue;
        }
        if last != Some(row.load) {
            last = Some(row.load);
            let planned = || grid.minute(row.starts);
            let start_min = studio.under_way.get(&row.load).copied().unwrap_or_else(planned);
            plan.loads.push(Load { kiln: row.kiln, start_min, flasks: Vec::new() });
        }
        if let Some(load) = plan.loads.last_mut() {
            load.flasks.push(Placed { flask: flask.clone(), x_mm: row.x_mm, y_mm: row.y_mm });
        }
        plan.pours.push(Pour { flask, start_min: grid.minute(row.pour) });
    }
    plan.pours.sort_by_key(|pour| pour.start_min);
    let poured: HashSet<&str> = plan.pours.iter().map(|pour| pour.flask.as_str()).collect();
    let left_out = problem.flasks.iter().filter(|flask| !poured.contains(flask.id.as_str()));
    plan.unplanned = left_out
        .map(|flask| Unplanned {
            flask: flask.id.clone(),
            reason: Reason::Said("it waits and stands in no load".to_owned()),
        })
        .collect();
    plan.objective = achieved(problem, &plan);
    plan.rewetted = wetted(problem, &plan);
    Ok(plan)
}

/// The loads as they stand, from when they were really started, in the minutes of a proposal, and
/// what they achieve of what it was asked for.
pub(super) async fn beside(pool: &PgPool, proposal: i32, grid: &Grid) -> Result<Plan, sqlx::Error> {
    let pour_min = view::asked_pour_min(pool, proposal).await?;
    let flasks = view::asked_flasks(pool, proposal).await?;
    let flasks: HashMap<&str, &AskedFlask> =
        flasks.iter().map(|flask| (flask.id.as_str(), flask)).collect();
    let mut plan = Plan::default();
    let mut last: Option<KilnLoadId> = None;
    for row in view::standing(pool).await? {
        let id = row.flask.to_string();
        let Some(flask) = flasks.get(id.as_str()) else { continue };
        if last != Some(row.load) {
            last = Some(row.load);
            let start_min = grid.minute(row.starts);
            plan.loads.push(Load { kiln: row.kiln, start_min, flasks: Vec::new() });
        }
        let start_min = grid.minute(row.pour);
        let end = start_min + pour_min;
        let late = (end + flask.lead_min - flask.due_min).max(0);
        plan.objective.weighted_tardiness += flask.weight * late;
        plan.objective.makespan_min = plan.objective.makespan_min.max(end);
        if let Some(load) = plan.loads.last_mut() {
            load.flasks.push(Placed { flask: id.clone(), x_mm: row.x_mm, y_mm: row.y_mm });
        }
        plan.pours.push(Pour { flask: id, start_min });
    }
    plan.objective.loads = i64::try_from(plan.loads.len()).unwrap_or(i64::MAX);
    Ok(plan)
}

/// Who has stood longer than it may by the start of its load.
fn wetted(problem: &Problem, plan: &Plan) -> Vec<String> {
    let decisions = &problem.decisions;
    let burning = |load: &Load| {
        decisions
            .under_way
            .iter()
            .any(|one| one.kiln == load.kiln && one.start_min == load.start_min)
    };
    let may: HashSet<&str> = decisions.rewet.iter().map(|one| one.flask.as_str()).collect();
    let latest: HashMap<&str, i64> = problem
        .flasks
        .iter()
        .filter(|flask| may.contains(flask.id.as_str()))
        .filter_map(|flask| Some((flask.id.as_str(), flask.latest_start_min?)))
        .collect();
    let mut wetted: Vec<String> = plan
        .loads
        .iter()
        .filter(|load| !burning(load))
        .flat_map(|load| load.flasks.iter().map(move |placed| (load, &placed.flask)))
        .filter(|(load, flask)| {
            latest.get(flask.as_str()).is_some_and(|latest| load.start_min > *latest)
        })
        .map(|(_, flask)| flask.clone())
        .collect();
    wetted.sort_unstable();
    wetted
}

/// Where flasks stand in a plan, as what a new one should keep to.
pub(super) fn kept(plan: &Plan, minutes_per_move: i64) -> Stability {
    let accepted = plan
        .loads
        .iter()
        .flat_map(|load| {
            load.flasks.iter().map(|placed| Accepted {
                flask: placed.flask.clone(),
                kiln: load.kiln.clone(),
                start_min: load.start_min,
            })
        })
        .collect();
    Stability { accepted, minutes_per_move }
}

/// Why the plan as it stands cannot be carried out any more, in words; empty when it can.
pub(super) fn troubles(problem: &Problem, plan: &Plan, now_min: i64) -> Vec<String> {
    let mut words = broken(problem, plan, now_min);
    let waiting: Vec<&str> = plan.unplanned.iter().map(|one| one.flask.as_str()).collect();
    match waiting.as_slice() {
        [] => {}
        [one] => words.push(format!("Flask {one} waits and stands in no load.")),
        many if many.len() <= MOST_NAMED => {
            words.push(format!("Flasks {} wait and stand in no load.", many.join(", ")));
        }
        many => words.push(format!(
            "Flasks {} and {} more wait and stand in no load.",
            many[..MOST_NAMED].join(", "),
            many.len() - MOST_NAMED
        )),
    }
    words
}

/// The rules that a plan breaks, in words, each once.
pub(super) fn broken(problem: &Problem, plan: &Plan, now_min: i64) -> Vec<String> {
    let mut lenient = problem.clone();
    lenient.decisions.not_before_min = now_min - GRACE_MIN;
    // What a plan costs does not keep it from being carried out.
    lenient.decisions.dear_hours.clear();
    // What its kiln takes longer is known to the quarter of an hour: a load that was agreed when
    // it was known to be less is not in the way of itself.
    for longer in &mut lenient.decisions.longer {
        longer.minutes = (longer.minutes - GRACE_MIN).max(0);
    }
    lenient.max_hold_min += GRACE_MIN;
    let mut words: Vec<String> = Vec::new();
    for violation in check(&lenient, plan) {
        let said = match violation.rule {
            Rule::Objective => continue,
            Rule::Staffed => {
                "A load or a pour falls into hours in which nobody is there, or before its kiln is free."
            }
            Rule::Turnaround => "A kiln is not free in time for its next load.",
            Rule::StartWindow => {
                "A flask is not ready when its load is to start, or has stood too long by then."
            }
            Rule::PourAfterProgramme => "A load is still burning out when its pour is planned.",
            Rule::Hold => "A load would wait hot for longer than it may.",
            Rule::Span => "The pours of a load would take longer than they may.",
            Rule::Cooling | Rule::Furnace => "Pours come too close to each other.",
            Rule::Ramps => "More kilns would heat at once than may.",
            Rule::Decisions => {
                "A load should have begun already, a kiln is used while it is out of use, or a pin is not kept."
            }
            Rule::Floor | Rule::Families => "Flasks stand together that cannot.",
            Rule::Horizon => "A pour lies too far away to be planned.",
            Rule::OneLoadOnePour => "A flask has left its load, or stands in two.",
        };
        if words.iter().all(|known| known != said) {
            words.push(said.to_owned());
        }
    }
    words
}
