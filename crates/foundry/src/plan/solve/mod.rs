//! Looks for a good plan.

mod anneal;
mod board;
mod construct;
mod draft;
mod opening;
mod refusal;
mod schedule;
mod settle;
mod write;

use super::faults::ProblemFault;
use super::floor::Floors;
use super::model::Model;
use super::outcome::{Bound, Objective, Plan};
use super::problem::Problem;
use anneal::{Line, Worth};
use construct::construct;
use draft::Unit;
pub use opening::{Opening, openings};
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
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Steps taken.
    pub steps: u64,
    /// What the best plan so far achieves.
    pub best: Objective,
    /// What no plan can undercut.
    pub bound: Bound,
}

/// What the caller answers to a [`Progress`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Control {
    /// Go on; this share of the time allowed, from 0 to 1, is used up.
    Go {
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
/// same on every machine.
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
    let schedule = improve(first, &mut floors, &settled.units, options, watch);
    let Settled { units, unplanned, unkept, .. } = settled;
    Ok(written(problem, &mut floors, &units, schedule, unplanned, unkept))
}

/// Anneals from a first schedule until the time is used up; the best schedule seen.
fn improve<'m>(
    first: Schedule<'m>,
    floors: &mut Floors,
    units: &[Unit],
    options: &Options,
    watch: &mut dyn FnMut(&Progress) -> Control,
) -> Schedule<'m> {
    let mut best = first;
    let mut best_cost = best.cost();
    let mut steps = 0;
    let mut used = 0.0;
    let rounds = 4.0;
    let mut round = 0;
    let Some(mut line) = Line::new(&best, units, options.seed, |_, _| true) else { return best };
    while used < 1.0 {
        let within: f64 = (used * rounds) % 1.0;
        if (used * rounds) as i32 != round {
            round = (used * rounds) as i32;
            let seed = options.seed.wrapping_add(round as u64);
            if let Some(again) = Line::new(&best, units, seed, |_, _| true) {
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
        let progress = Progress { steps, best: best_cost.objective(), bound: Bound::default() };
        match watch(&progress) {
            Control::Stop => break,
            Control::Go { used: share } => used = share.max(0.0),
        }
        if let Some(most) = options.most_steps {
            used = used.max(steps as f64 / most as f64);
        }
    }
    best
}
