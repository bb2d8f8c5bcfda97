//! One search: first all loads at several warmths beside each other, then annealing in rounds, of
//! all loads or of a few near each other in time, and a few loads at a time planned anew.

use std::collections::HashSet;

use crate::plan::floor::Floors;
use crate::random::Random;

use super::super::anneal::{Line, Worth};
use super::super::draft::Draft;
use super::super::polish::Polish;
use super::super::pours::reordered;
use super::super::schedule::{Cost, Schedule};
use super::super::{Options, Search};
use super::cross::crossed;
use super::ladder::Ladder;

/// Steps of annealing between two looks at the clock.
pub(super) const STEPS: u64 = 64;

/// Problems of more units have time for a few rounds only, and are annealed in [`LONG_ROUNDS`].
const MOST_UNITS: usize = 64;
const LONG_ROUNDS: f64 = 4.0;
/// In smaller ones a round has so many steps for each unit: many short rounds from different
/// beginnings find the best more surely than a few long ones.
const STEPS_A_UNIT: f64 = 1_000.0;
/// But no more than this share of all there is time for.
const MOST_OF_ALL: f64 = 0.3;
/// They go on from the best plan, less warm at their beginning.
const LESS_WARM: f64 = 0.35;
/// How warm a round of all loads begins, and how warm every round ends.
const WARM: f64 = 150.0;
const COLD: f64 = 0.1;

/// A load counts as much as one of these, anywhere between them, when a round begins, and the last
/// when it ends: where loads cost much a round ends with few that are full, where they cost little
/// with many that come early, and no one knows beforehand which is the better way.
const LOAD_FIRST: (f64, f64) = (1.0, 100.0);
const LOAD_LAST: f64 = 0.5;

/// Smaller problems are annealed at several warmths at once until this share of the time is used.
const LADDER_UNTIL: f64 = 0.5;
/// Of the rest so much goes to rounds of a part of the best plan,
const SHARE_OF_PARTS: f64 = 0.7;
/// of up to so many units, a few more or less each time,
const PART_UNITS: std::ops::Range<usize> = 10..34;
/// that begin as warm as one of these, anywhere between them,
const PART_WARM: (f64, f64) = (300.0, 3_000.0);
/// and have so many steps for each unit. No one size, warmth and length is best for all problems.
const PART_STEPS_A_UNIT: (f64, f64) = (300.0, 1_200.0);

/// At the end of a round of all loads some are planned anew until that has failed so often.
const FAILURES: u32 = 12;
/// Rounds that end farther than this above the best are left as they are.
const NEAR: f64 = 1.1;
/// Of larger problems loads are planned anew after so many steps, about a quarter of the time,
/// once this share of it is used: a search that has hardly begun gains more by annealing.
const POLISH_EVERY: u64 = 1024;
const POLISH_FROM: f64 = 0.5;

/// A round of annealing.
#[derive(Debug, Clone, Copy)]
struct Round {
    number: u64,
    begun_at: u64,
    of: Part,
    /// What a load counts at its beginning.
    load: f64,
}

/// What a round anneals.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Part {
    /// All loads, as they were first: the first round of larger problems, and those until there is
    /// a plan of all flasks.
    First,
    /// All loads of the best plan.
    Best,
    /// Some loads of the best plan: so many steps, from so warm on.
    Some { steps: f64, warm: f64 },
}

/// The state of a search.
pub(super) struct Searcher<'s, 'a, 'm> {
    search: &'s Search<'a, 'm>,
    pub(super) floors: Floors,
    pub(super) best: Schedule<'m>,
    pub(super) best_cost: Cost,
    /// Steps made, those of them in rounds, and those of these in rounds of parts.
    pub(super) steps: u64,
    steps_in_rounds: u64,
    steps_in_parts: u64,
    /// Share of the time allowed that is used.
    pub(super) used: f64,
    seed: u64,
    random: Random,
    first: Schedule<'m>,
    ladder: Option<Ladder<'m>>,
    line: Line<'m>,
    round: Round,
    polish: Polish,
}

impl<'s, 'a, 'm> Searcher<'s, 'a, 'm> {
    /// A search that begins from a schedule; none when its loads do not find their times again.
    pub(super) fn new(
        search: &'s Search<'a, 'm>,
        first: Schedule<'m>,
        floors: Floors,
        seed: u64,
    ) -> Option<Self> {
        let units = &search.settled.units;
        let line = Line::new(&first, units, seed, |_| true)?;
        let ladder = if units.len() <= MOST_UNITS {
            Ladder::new(search.model, units, &first, seed)
        } else {
            None
        };
        let mut random = Random::new(!seed);
        let load = between(&mut random, LOAD_FIRST);
        Some(Self {
            search,
            floors,
            best_cost: first.cost(),
            best: first.clone(),
            steps: 0,
            steps_in_rounds: 0,
            steps_in_parts: 0,
            used: 0.0,
            seed,
            random,
            first,
            ladder,
            line,
            round: Round { number: 0, begun_at: 0, of: Part::First, load },
            polish: Polish::new(seed),
        })
    }

    /// Some steps of annealing, and what comes after a round when it is over.
    pub(super) fn step(&mut self) {
        if self.ladder.is_some() && self.used > LADDER_UNTIL {
            self.ladder = None;
            self.begin_round();
        }
        if let Some(ladder) = &mut self.ladder {
            let units = &self.search.settled.units;
            let (known, random) = (self.best_cost, &mut self.random);
            if let Some(found) = ladder.step(&mut self.floors, units, STEPS, known, random) {
                self.keep(found);
            }
            self.steps += STEPS;
            return;
        }
        let within = self.within_round();
        if within >= 1.0 {
            self.end_round();
        } else {
            self.anneal(within);
        }
        let polish = !self.is_small() && self.used > POLISH_FROM && self.steps % POLISH_EVERY == 0;
        if polish && self.best_cost.broken == 0 {
            let units = &self.search.settled.units;
            let model = self.search.model;
            if let Some(found) = self.polish.step(model, &mut self.floors, units, &self.best) {
                self.keep(found);
            }
        }
    }

    /// Counts the time: the share that the caller says is used up, or that of the steps.
    pub(super) fn spend(&mut self, used: f64, options: &Options) {
        let steps = options.most_steps.map_or(0.0, |most| self.steps as f64 / most as f64);
        self.used = used.max(steps);
    }

    /// Tells another search the better of both bests.
    pub(super) fn share(&mut self, other: &mut Self) {
        if other.best_cost < self.best_cost {
            self.learn(other);
        } else if self.best_cost < other.best_cost {
            other.learn(self);
        }
    }

    /// Joins its best with another search's, each as the beginning and as the end, where that is
    /// better than its own; larger problems have no time for it.
    pub(super) fn cross(&mut self, other: &mut Self) {
        if !self.is_small() || self.best_cost.broken > 0 {
            return;
        }
        self.learn_layouts(other);
        let units = &self.search.settled.units;
        let floors = &mut self.floors;
        let ways = [(&self.best, &other.best), (&other.best, &self.best)];
        let found =
            ways.into_iter().filter_map(|(early, late)| crossed(floors, units, early, late));
        let best = found.min_by_key(Schedule::cost);
        if let Some(found) = best.filter(|found| found.cost() < self.best_cost) {
            self.keep(found);
        }
    }

    /// Puts the pours of its best in a better order. Not before the end: a plan whose pours wait
    /// for others is a poor beginning for changes of loads.
    pub(super) fn reorder_pours(&mut self) {
        if self.is_small()
            && self.best_cost.broken == 0
            && let Some(found) = reordered(&self.best)
        {
            self.keep(found);
        }
    }

    fn learn(&mut self, other: &mut Self) {
        self.learn_layouts(other);
        self.best_cost = other.best_cost;
        self.best = other.best.clone();
    }

    /// How the loads of another search's best stand on their floors.
    fn learn_layouts(&mut self, other: &mut Self) {
        let model = self.search.model;
        for (draft, _) in &other.best.loads {
            let floor = model.kilns[draft.kiln].floor;
            if let Some(layout) = other.floors.layout(floor, &draft.sizes) {
                self.floors.learn(floor, &draft.sizes, layout);
            }
        }
    }

    fn keep(&mut self, found: Schedule<'m>) {
        self.best_cost = found.cost();
        self.best = found;
    }

    fn is_small(&self) -> bool {
        self.search.settled.units.len() <= MOST_UNITS
    }

    fn anneal(&mut self, within: f64) {
        let (within, warm) = match self.round.of {
            Part::Some { warm, .. } => (within, warm),
            Part::Best if self.is_small() => (LESS_WARM + (1.0 - LESS_WARM) * within, WARM),
            _ => (within, WARM),
        };
        let worth = Worth {
            load: self.round.load * (LOAD_LAST / self.round.load).powf(within),
            makespan: 0.01 * (0.01f64).powf(within),
            broken: 1.0,
            warmth: warm * (COLD / warm).powf(within),
        };
        let units = &self.search.settled.units;
        let known = self.best_cost;
        if let Some(found) = self.line.steps(&mut self.floors, units, &worth, STEPS, known) {
            self.keep(found);
        }
        self.steps += STEPS;
        self.steps_in_rounds += STEPS;
        if matches!(self.round.of, Part::Some { .. }) {
            self.steps_in_parts += STEPS;
        }
    }

    /// How much of the round is over.
    fn within_round(&self) -> f64 {
        let taken = (self.steps - self.round.begun_at) as f64;
        if let Part::Some { steps, .. } = self.round.of {
            return taken / steps;
        }
        if !self.is_small() {
            return self.used * LONG_ROUNDS - self.round.number as f64;
        }
        let units = self.search.settled.units.len() as f64;
        let all = if self.used > 0.0 { self.steps as f64 / self.used } else { f64::INFINITY };
        taken / (STEPS_A_UNIT * units).min(MOST_OF_ALL * all).max(STEPS as f64)
    }

    /// Plans loads of what the round ended with anew, and begins the next one.
    fn end_round(&mut self) {
        let whole = !matches!(self.round.of, Part::Some { .. });
        if whole && self.is_small() {
            let end = self.line.schedule();
            let (cost, best) = (end.cost(), self.best_cost);
            if cost.broken == 0 && cost.delay as f64 <= NEAR * best.delay as f64 + 500.0 {
                self.polish_to_end(end);
            }
        }
        self.begin_round();
    }

    fn begin_round(&mut self) {
        self.round.number += 1;
        self.round.begun_at = self.steps;
        self.round.load = between(&mut self.random, LOAD_FIRST);
        // Who leaves flasks out that could be planned is caught far from a plan of all.
        let complete = self.best_cost.broken == 0;
        let in_parts = SHARE_OF_PARTS * self.steps_in_rounds as f64 > self.steps_in_parts as f64;
        if self.is_small() && complete && in_parts && self.begin_part() {
            return;
        }
        self.round.of = if complete { Part::Best } else { Part::First };
        let from = if self.round.of == Part::Best { &self.best } else { &self.first };
        if let Some(line) = self.line_of(from, |_| true) {
            self.line = line;
        }
    }

    /// Begins a round of some loads of the best plan near each other in time; false when there
    /// are none that may change.
    fn begin_part(&mut self) -> bool {
        let most = PART_UNITS.start + self.random.below(PART_UNITS.len());
        let mut units = HashSet::new();
        for load in self.best.near_in_time(&mut self.random) {
            let own = &self.best.loads[load].0.units;
            if !units.is_empty() && units.len() + own.len() > most {
                break;
            }
            units.extend(own.iter().copied());
        }
        let chosen = |draft: &Draft| draft.units.iter().any(|unit| units.contains(unit));
        let Some(line) = self.line_of(&self.best, chosen) else { return false };
        if units.is_empty() {
            return false;
        }
        let steps = between(&mut self.random, PART_STEPS_A_UNIT) * units.len() as f64;
        self.round.of = Part::Some { steps, warm: between(&mut self.random, PART_WARM) };
        self.line = line;
        true
    }

    fn line_of(&self, from: &Schedule<'m>, free: impl Fn(&Draft) -> bool) -> Option<Line<'m>> {
        let seed = self.seed.wrapping_add(self.round.number);
        Line::new(from, &self.search.settled.units, seed, free)
    }

    /// Plans loads of a schedule anew until that does not help any more.
    fn polish_to_end(&mut self, mut schedule: Schedule<'m>) {
        let (model, units) = (self.search.model, &self.search.settled.units);
        let mut failures = 0;
        while failures < FAILURES {
            match self.polish.step(model, &mut self.floors, units, &schedule) {
                Some(better) => schedule = better,
                None => failures += 1,
            }
        }
        if schedule.cost() < self.best_cost {
            self.keep(schedule);
        }
    }
}

/// A number between two, each as likely as its multiples.
fn between(random: &mut Random, (low, high): (f64, f64)) -> f64 {
    low * (high / low).powf(random.unit())
}
