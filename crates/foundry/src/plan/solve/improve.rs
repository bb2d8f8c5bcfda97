//! Improves a first schedule until the time is used up or the best is proved: annealing in rounds,
//! each of which ends with a few loads at a time planned anew; beside it small problems are
//! searched through to the end.

use crate::plan::floor::Floors;
use crate::plan::outcome::Bound;

use super::anneal::{Line, Worth};
use super::bound::Bounds;
use super::exact::Exact;
use super::polish::Polish;
use super::schedule::{Cost, Schedule};
use super::{Control, Options, Progress, Search};

/// Steps of annealing between two looks at the clock.
const STEPS: u64 = 64;
/// Nodes of the search through to the end meanwhile: about as long.
const NODES: usize = 100;

/// Problems of more units have time for a few rounds only, and are annealed in [`LONG_ROUNDS`].
const MOST_UNITS: usize = 64;
const LONG_ROUNDS: f64 = 4.0;
/// In smaller ones a round has so many steps for each unit: many short rounds from different
/// beginnings find the best more surely than a few long ones.
const STEPS_A_UNIT: f64 = 1_000.0;
/// But no more than this share of all there is time for.
const MOST_OF_ALL: f64 = 0.3;
/// Every so many rounds one goes on from the best plan, less warm at its beginning.
const FROM_BEST_EVERY: u64 = 3;
/// From this share of the time on all do.
const FROM_BEST_FROM: f64 = 0.6;
const LESS_WARM: f64 = 0.35;

/// At the end of a round loads are planned anew until that has failed so often.
const FAILURES: u32 = 12;
/// Rounds that end farther than this above the best are left as they are.
const NEAR: f64 = 1.1;
/// Of larger problems loads are planned anew after so many steps, about a quarter of the time,
/// once this share of it is used: a search that has hardly begun gains more by annealing.
const POLISH_EVERY: u64 = 1024;
const POLISH_FROM: f64 = 0.5;

/// The best schedule seen, and whether it is proved to be the best there is.
pub(super) type Improved<'m> = (Schedule<'m>, bool);

/// A round of annealing.
struct Round {
    number: u64,
    begun_at: u64,
    from_best: bool,
}

/// The state of the search.
struct Improving<'s, 'a, 'm> {
    search: &'s Search<'a, 'm>,
    seed: u64,
    first: Schedule<'m>,
    best: Schedule<'m>,
    best_cost: Cost,
    line: Line<'m>,
    round: Round,
    polish: Polish,
    steps: u64,
    /// Share of the time allowed.
    used: f64,
}

/// Improves a first schedule.
pub(super) fn improve<'m>(
    search: &Search<'_, 'm>,
    first: Schedule<'m>,
    floors: &mut Floors,
    options: &Options,
    bounds: &Bounds,
    watch: &mut dyn FnMut(&Progress) -> Control,
) -> Improved<'m> {
    let units = &search.settled.units;
    let Some(line) = Line::new(&first, units, options.seed, |_, _| true) else {
        return (first, false);
    };
    let mut state = Improving {
        search,
        seed: options.seed,
        best_cost: first.cost(),
        best: first.clone(),
        first,
        line,
        round: Round { number: 0, begun_at: 0, from_best: false },
        polish: Polish::new(options.seed),
        steps: 0,
        used: 0.0,
    };
    let mut exact = search.search_through(floors);
    let mut shown = false;
    while state.used < 1.0 {
        // The bounds know nothing of staying near an accepted plan, wetting and dear hours.
        let whole = state.best_cost.broken == 0 && state.best_cost.is_plain();
        if whole && bounds.prove(state.best_cost.objective()) {
            break;
        }
        state.anneal(floors);
        match &mut exact {
            Some(through) => {
                state.search_on(through);
                if through.is_done() {
                    // With a plan of all flasks there is no better one; without, there is none.
                    if state.best_cost.broken == 0 {
                        return (state.best, true);
                    }
                    exact = None;
                }
            }
            None if state.used > POLISH_FROM && state.steps % POLISH_EVERY == 0 => {
                state.polish_best(floors);
            }
            None => {}
        }
        let achieved = state.best_cost.objective();
        let plan = shown.then(|| search.write(floors, state.best.clone(), Some(bounds)));
        let complete = state.best_cost.broken == 0;
        let bound = if complete { bounds.beside(achieved) } else { Bound::default() };
        let progress = Progress { steps: state.steps, best: achieved, bound, plan };
        let answer = watch(&progress);
        shown = matches!(answer, Control::Show { .. });
        match answer {
            Control::Stop => break,
            Control::Go { used } | Control::Show { used } => state.used = used.max(0.0),
        }
        if let Some(most) = options.most_steps {
            state.used = state.used.max(state.steps as f64 / most as f64);
        }
    }
    (state.best, false)
}

impl<'m> Improving<'_, '_, 'm> {
    /// Some steps of annealing, and what comes after a round when it is over.
    fn anneal(&mut self, floors: &mut Floors) {
        let search = self.search;
        let units = &search.settled.units;
        let within = self.within_round();
        if within >= 1.0 {
            self.end_round(floors);
            return;
        }
        let within = if self.round.from_best && units.len() <= MOST_UNITS {
            LESS_WARM + (1.0 - LESS_WARM) * within
        } else {
            within
        };
        let worth = Worth {
            load: 300.0 * (0.5f64 / 300.0).powf(within),
            makespan: 0.01 * (0.01f64).powf(within),
            warmth: 150.0 * (0.1f64 / 150.0).powf(within),
        };
        for _ in 0..STEPS {
            if self.line.step(floors, units, &worth) {
                let cost = self.line.cost();
                if cost < self.best_cost {
                    self.best_cost = cost;
                    self.best = self.line.schedule();
                }
            }
        }
        self.steps += STEPS;
    }

    /// How much of the round is over.
    fn within_round(&self) -> f64 {
        let units = self.search.settled.units.len();
        if units > MOST_UNITS {
            return self.used * LONG_ROUNDS - self.round.number as f64;
        }
        let all = if self.used > 0.0 { self.steps as f64 / self.used } else { f64::INFINITY };
        let round = (STEPS_A_UNIT * units as f64).min(MOST_OF_ALL * all);
        (self.steps - self.round.begun_at) as f64 / round.max(STEPS as f64)
    }

    /// Plans loads of what the round ended with anew, and begins the next one.
    fn end_round(&mut self, floors: &mut Floors) {
        let search = self.search;
        let units = &search.settled.units;
        let small = units.len() <= MOST_UNITS;
        if small {
            let end = self.line.schedule();
            let (cost, best) = (end.cost(), self.best_cost);
            if cost.broken == 0 && cost.delay as f64 <= NEAR * best.delay as f64 + 500.0 {
                self.polish_to_end(floors, end);
            }
        }
        let number = self.round.number + 1;
        // Who leaves flasks out that could be planned is caught far from a plan of all.
        let complete = self.best_cost.broken == 0;
        let turn = number % FROM_BEST_EVERY == 0 || self.used > FROM_BEST_FROM;
        let from_best = complete && (!small || turn);
        self.round = Round { number, begun_at: self.steps, from_best };
        let from = if from_best { &self.best } else { &self.first };
        if let Some(line) = Line::new(from, units, self.seed.wrapping_add(number), |_, _| true) {
            self.line = line;
        }
    }

    fn search_on(&mut self, through: &mut Exact<'m>) {
        let known = (self.best_cost.broken == 0).then(|| self.best_cost.value());
        if let Some(found) = through.advance(NODES, known, &self.search.settled.units) {
            self.best_cost = found.cost();
            self.best = found;
        }
    }

    /// Plans a few loads of the best schedule anew.
    fn polish_best(&mut self, floors: &mut Floors) {
        if self.best_cost.broken > 0 {
            return;
        }
        let search = self.search;
        let units = &search.settled.units;
        if let Some(found) = self.polish.step(self.search.model, floors, units, &self.best) {
            self.best_cost = found.cost();
            self.best = found;
        }
    }

    /// Plans loads of a schedule anew until that does not help any more.
    fn polish_to_end(&mut self, floors: &mut Floors, mut schedule: Schedule<'m>) {
        let search = self.search;
        let units = &search.settled.units;
        let mut failures = 0;
        while failures < FAILURES {
            match self.polish.step(self.search.model, floors, units, &schedule) {
                Some(better) => schedule = better,
                None => failures += 1,
            }
        }
        let cost = schedule.cost();
        if cost < self.best_cost {
            self.best_cost = cost;
            self.best = schedule;
        }
    }
}
