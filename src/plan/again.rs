//! Pieces that failed since the plan was accepted and are made again: the flasks they will need,
//! so that a plan can keep room for them.

use std::collections::BTreeMap;

use foundry::plan::judge::{achieved, check};
use foundry::plan::{Bound, Flask, Plan, Problem};
use sqlx::PgPool;

use super::grid::Grid;
use super::instance::Instance;
use super::view::{self, AgainRow};
use super::words;
use crate::clock::Moment;

/// Minutes from entering a stage until the flask has set, where the studio has not timed it yet.
/// Assumed.
const USUAL_MIN: [(&str, i64); 3] = [("print", 4_320), ("cure", 2_160), ("invest", 1_440)];

/// Pieces of an alloy that are made again, and the flask they will need.
#[derive(Clone, Debug)]
pub(super) struct Again {
    pub(super) pieces: Vec<AgainRow>,
    pub(super) flask: Flask,
}

/// Everything that is made again, by alloy.
pub(super) async fn read(
    pool: &PgPool,
    studio: &Instance,
    now: Moment,
) -> Result<Vec<Again>, sqlx::Error> {
    let mut by_alloy: BTreeMap<String, Vec<AgainRow>> = BTreeMap::new();
    for row in view::made_again(pool).await? {
        by_alloy.entry(row.alloy.clone()).or_default().push(row);
    }
    if by_alloy.is_empty() {
        return Ok(Vec::new());
    }
    let timed = view::until_set(pool, now).await?;
    let takes = |stage: &str| {
        let own =
            timed.iter().find(|(known, _)| known == stage).map(|(_, minutes)| *minutes as i64);
        let usual =
            USUAL_MIN.iter().find(|(known, _)| *known == stage).map(|(_, minutes)| *minutes);
        own.or(usual).unwrap_or(0)
    };
    let mut all = Vec::new();
    for (alloy, pieces) in by_alloy {
        let Some(likely) = view::likely_flask(pool, &alloy).await? else { continue };
        let longest = pieces.iter().map(|piece| takes(&piece.stage)).max().unwrap_or(0);
        let due = pieces.iter().filter_map(|piece| piece.due_on).min();
        let horizon_min = studio.grid.minute(now) + longest + 366 * 1440;
        let flask = Flask {
            id: format!("again {alloy}"),
            diameter_mm: f64::from(likely.diameter_mm),
            height_mm: f64::from(likely.height_mm),
            size_class: likely.size_class,
            family: likely.family,
            ready_min: studio.grid.minute(now) + longest,
            latest_start_min: None,
            cast_temp_c: pieces.first().map_or(0, |piece| piece.flask_c.round() as i64),
            alloy,
            lead_min: studio.lead_min(pieces.iter().map(|piece| piece.finishing_min).sum()),
            due_min: due.map_or(horizon_min, |day| studio.due_min(day)),
            weight: i64::try_from(pieces.len()).unwrap_or(1),
        };
        all.push(Again { pieces, flask });
    }
    Ok(all)
}

impl Again {
    /// What happened to its pieces, a sentence each.
    pub(super) fn reasons(&self) -> impl Iterator<Item = String> {
        self.pieces.iter().map(|piece| {
            let due =
                piece.due_on.map_or(String::new(), |day| format!(", due {}", words::day(day)));
            let what = if piece.kind == "failed" {
                format!("failed at {}: {}", piece.failed_at, piece.cause)
            } else {
                format!("went back to {}", piece.failed_at)
            };
            format!("{} {what}. It is made again as attempt {}{due}.", piece.label, piece.attempt_n)
        })
    }

    /// Its pieces by their labels.
    fn named(&self) -> String {
        self.pieces.iter().map(|piece| piece.label.as_str()).collect::<Vec<_>>().join(", ")
    }

    /// Where a plan puts its flask.
    pub(super) fn place(&self, plan: &Plan, grid: &Grid) -> Option<String> {
        let id = &self.flask.id;
        let pour = plan.pours.iter().find(|pour| pour.flask == *id)?;
        let load =
            plan.loads.iter().find(|load| load.flasks.iter().any(|placed| placed.flask == *id))?;
        let due = self.pieces.iter().filter_map(|piece| piece.due_on).min();
        let late = (pour.start_min + self.flask.lead_min - self.flask.due_min).max(0);
        let due = match due {
            Some(day) if late > 0 => format!(
                "; ready {} after {}, its due day",
                super::difference::span(late),
                words::day(day)
            ),
            Some(day) => format!("; in time for {}", words::day(day)),
            None => String::new(),
        };
        Some(format!(
            "{}, made again: in {} from {}, poured {}{due}.",
            self.named(),
            load.kiln,
            words::at(load.start_min, grid),
            words::at(pour.start_min, grid)
        ))
    }
}

/// A plan without the flasks that are not there yet; none when it would break a rule without them.
pub(super) fn without(problem: &Problem, plan: &Plan, again: &[Again]) -> Option<Plan> {
    let to_come = |id: &str| again.iter().any(|one| one.flask.id == id);
    let mut plan = plan.clone();
    for load in &mut plan.loads {
        load.flasks.retain(|placed| !to_come(&placed.flask));
    }
    plan.loads.retain(|load| !load.flasks.is_empty());
    plan.pours.retain(|pour| !to_come(&pour.flask));
    plan.unplanned.retain(|one| !to_come(&one.flask));
    plan.moved.retain(|id| !to_come(id));
    plan.rewetted.retain(|id| !to_come(id));
    plan.objective = achieved(problem, &plan);
    // What dear hours count goes by the loads, of which some may be gone.
    let mut problem = problem.clone();
    problem.decisions.dear_hours.clear();
    plan.dear_min = 0;
    // What no plan could undercut held with the others; it is not known without them.
    plan.bound = Bound::default();
    plan.proved_optimal = false;
    check(&problem, &plan).is_empty().then_some(plan)
}
