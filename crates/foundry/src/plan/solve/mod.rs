//! Looks for a good plan.

mod anneal;
mod board;
mod bound;
mod construct;
mod draft;
mod exact;
mod explain;
mod opening;
mod polish;
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
use anneal::{Line, Worth};
use bound::Bounds;
use construct::construct;
use draft::UnitNo;
use exact::Exact;
pub use explain::{Binds, Explanation, Without, explain};
pub use opening::{Opening, openings};
use polish::Polish;
use schedule::Schedule;
use settle::{Settled, settle};
use write::written;

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// The seed of the search's random choices.
    pub seed: u64,
    /// The search ends after so many steps; with no limit only the callback ends it.
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
    let bounds = Bounds::new(problem, &model, search.flasks(), search.under_way());
    let (schedule, proved) = match answer {
        Control::Stop => (first, false),
        _ => search.improve(first, &mut floors, options, &bounds, watch),
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

/// Nodes of the search through to the end for every 64 steps of annealing: about as long.
const NODES: usize = 100;

/// Of larger problems a few loads are planned anew after so many steps, about a quarter of the
/// time, once this share of it is used: a search that has hardly begun gains more by annealing.
const POLISH_EVERY: u64 = 1024;
const POLISH_FROM: f64 = 0.5;

/// How many units a problem of a middling size has.
const AFRESH_UNITS: std::ops::RangeInclusive<usize> = 11..=64;

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

    /// Anneals from a first schedule, and searches a small problem through to the end beside that,
    /// until the time is used up or the best is proved; the best schedule seen, and whether
    /// everything was searched.
    fn improve(
        &self,
        first: Schedule<'m>,
        floors: &mut Floors,
        options: &Options,
        bounds: &Bounds,
        watch: &mut dyn FnMut(&Progress) -> Control,
    ) -> (Schedule<'m>, bool) {
        let units = &self.settled.units;
        let mut best = first;
        let mut best_cost = best.cost();
        let (mut steps, mut used) = (0, 0.0);
        let mut shown = false;
        let mut round = 0;
        // Problems of a middling size have many good plans far from each other: there the search
        // begins afresh several times before it goes on from the best. Smaller ones are searched
        // through anyhow, larger ones need the time for one.
        let start = AFRESH_UNITS.contains(&units.len()).then(|| best.clone());
        let (rounds, afresh) = if start.is_some() { (6.0, 3) } else { (4.0, 0) };
        let Some(mut line) = Line::new(&best, units, options.seed, |_, _| true) else {
            return (best, false);
        };
        let mut exact = self.search_through(floors);
        let mut polish = Polish::new(options.seed);
        while used < 1.0 {
            // The bounds know nothing of staying near an accepted plan, wetting and dear hours.
            let whole = best_cost.broken == 0 && best_cost.is_plain();
            if whole && bounds.prove(best_cost.objective()) {
                break;
            }
            let within: f64 = (used * rounds) % 1.0;
            if (used * rounds) as i32 != round {
                round = (used * rounds) as i32;
                let seed = options.seed.wrapping_add(round as u64);
                // Who leaves flasks out that could be planned is caught far from a plan of all.
                let fresh = round <= afresh || best_cost.broken > 0;
                let from = start.as_ref().filter(|_| fresh).unwrap_or(&best);
                if let Some(again) = Line::new(from, units, seed, |_, _| true) {
                    line = again;
                }
            }
            let worth = Worth {
                load: 300.0 * (0.5f64 / 300.0).powf(within),
                makespan: 0.01 * (0.01f64).powf(within),
                warmth: 150.0 * (0.1f64 / 150.0).powf(within),
            };
            for _ in 0..64 {
                if line.step(floors, units, &worth) {
                    let cost = line.cost();
                    if cost < best_cost {
                        best_cost = cost;
                        best = line.schedule();
                    }
                }
                steps += 1;
            }
            if let Some(search) = &mut exact {
                let known = (best_cost.broken == 0).then(|| best_cost.value());
                if let Some(found) = search.advance(NODES, known, units) {
                    best_cost = found.cost();
                    best = found;
                }
                if search.is_done() {
                    // With a plan of all flasks there is no better one; without, there is none.
                    if best_cost.broken == 0 {
                        return (best, true);
                    }
                    exact = None;
                }
            } else if used > POLISH_FROM
                && steps % POLISH_EVERY == 0
                && best_cost.broken == 0
                && let Some(found) = polish.step(self.model, floors, units, &best)
            {
                best_cost = found.cost();
                best = found;
            }
            let achieved = best_cost.objective();
            let plan = shown.then(|| self.write(floors, best.clone(), Some(bounds)));
            let bound =
                if best_cost.broken == 0 { bounds.beside(achieved) } else { Bound::default() };
            let progress = Progress { steps, best: achieved, bound, plan };
            shown = false;
            match watch(&progress) {
                Control::Stop => break,
                Control::Go { used: share } => used = share.max(0.0),
                Control::Show { used: share } => {
                    used = share.max(0.0);
                    shown = true;
                }
            }
            if let Some(most) = options.most_steps {
                used = used.max(steps as f64 / most as f64);
            }
        }
        (best, false)
    }
}
