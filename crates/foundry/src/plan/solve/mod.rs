//! Looks for a good plan.

mod anneal;
mod board;
mod bound;
mod construct;
mod draft;
mod exact;
mod explain;
mod improve;
mod opening;
#[cfg(test)]
#[path = "../../../tests/plan_support/mod.rs"]
mod plan_support;
mod polish;
mod pours;
mod refusal;
mod schedule;
mod settle;
mod write;

use std::collections::HashSet;

use super::faults::ProblemFault;
use super::floor::Floors;
use super::model::{FlaskNo, Model};
use super::outcome::{Bound, Objective, Plan};
use super::problem::Problem;
use bound::Bounds;
pub use bound::most_on_floor;
use construct::construct;
use draft::UnitNo;
use exact::Exact;
pub use explain::{Binds, Explanation, Without, explain};
use improve::improve;
pub use opening::{Opening, openings};
use schedule::Schedule;
use settle::{Settled, settle};
use write::written;

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// The seed of the search's random choices.
    pub seed: u64,
    /// Each of the two searches beside each other ends after so many steps; with no limit only the
    /// callback ends them.
    pub most_steps: Option<u64>,
}

/// How far the search is.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// Steps taken.
    pub steps: u64,
    /// What the best plan so far achieves.
    pub best: Objective,
    /// What no plan can undercut.
    pub bound: Bound,
    /// The best plan so far: with the first call, and after an answer that asked for it.
    pub plan: Option<Plan>,
}

/// What the caller answers to a [`Progress`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Control {
    /// Go on; this share of the time allowed, from 0 to 1, is used up.
    Go {
        /// From 0 at the beginning to 1 at the end of the time allowed.
        used: f64,
    },
    /// The same, and the best plan so far is wanted with the next call.
    Show {
        /// From 0 at the beginning to 1 at the end of the time allowed.
        used: f64,
    },
    /// Stop now and return the best plan found.
    Stop,
}

/// Plans a problem as well as the time allows.
///
/// `watch` is called every few milliseconds with the state of the search and
/// says how much of the time allowed is used up. With the same seed and a
/// limit of steps, and a `watch` that always answers the same, the plan is the
/// same on every machine. The first call comes with the first plan, before anything is improved.
///
/// # Refuses
/// A problem with faults, each named.
pub fn solve(
    problem: &Problem,
    options: &Options,
    watch: &mut dyn FnMut(&Progress) -> Control,
) -> Result<Plan, Vec<ProblemFault>> {
    let faults = problem.faults();
    if !faults.is_empty() {
        return Err(faults);
    }
    let (model, mut floors) = Model::new(problem);
    let settled = settle(problem, &model, &mut floors);
    let first = construct(&mut floors, &settled.units, &settled.schedule);
    let search = Search { problem, model: &model, settled: &settled };
    // The first plan is shown before anything else is thought about.
    let progress = Progress {
        steps: 0,
        best: first.cost().objective(),
        bound: Bound::default(),
        plan: Some(search.write(&mut floors, first.clone(), None)),
    };
    let answer = watch(&progress);
    floors.look_longer();
    let bounds = Bounds::new(problem, &model, search.flasks(), search.under_way());
    let (schedule, proved) = match answer {
        Control::Stop => (first, false),
        _ => improve(&search, first, &mut floors, options, &bounds, watch),
    };
    let mut plan = search.write(&mut floors, schedule, Some(&bounds));
    if proved {
        plan.proved_optimal = true;
        // Where other things count too, less tardiness may be had at their expense.
        if model.counts_only_tardiness() {
            plan.bound = plan.objective.as_bound();
        }
    }
    Ok(plan)
}

/// A search with what it needs to write down what it finds.
struct Search<'a, 'm> {
    problem: &'a Problem,
    model: &'m Model,
    settled: &'a Settled<'m>,
}

impl<'m> Search<'_, 'm> {
    fn flasks(&self) -> impl Iterator<Item = FlaskNo> {
        self.settled.units.iter().flat_map(|unit| unit.flasks.iter().copied())
    }

    fn under_way(&self) -> usize {
        self.settled.schedule.loads.iter().filter(|(draft, _)| draft.under_way).count()
    }

    fn write(&self, floors: &mut Floors, schedule: Schedule<'m>, bounds: Option<&Bounds>) -> Plan {
        let settled = self.settled;
        let (unplanned, unkept) = (settled.unplanned.clone(), settled.unkept.clone());
        let plain = schedule.cost().is_plain();
        let mut plan = written(self.problem, floors, &settled.units, schedule, unplanned, unkept);
        let Some(bounds) = bounds else { return plan };
        if plan.unplanned.len() == settled.unplanned.len() {
            plan.bound = bounds.beside(plan.objective);
            plan.proved_optimal = plain && bounds.prove(plan.objective);
        } else {
            // A plan that leaves out more than could not be helped has bounds of its own.
            let left_out: HashSet<&str> =
                plan.unplanned.iter().map(|one| one.flask.as_str()).collect();
            let planned = self.flasks().filter(|&flask| {
                !left_out.contains(self.problem.flasks[usize::from(flask)].id.as_str())
            });
            let own = Bounds::new(self.problem, self.model, planned, self.under_way());
            plan.bound = own.beside(plan.objective);
        }
        plan
    }

    /// A search through all plans, when they are few, beside loads under way.
    fn search_through(&self, floors: &mut Floors) -> Option<Exact<'m>> {
        let all: Vec<UnitNo> = (0..self.settled.units.len() as UnitNo).collect();
        // Pinned loads are planned anew, for others may join them.
        let stays = self.settled.under_way();
        Exact::new(self.model, floors, &self.settled.units, &all, stays)
    }
}
