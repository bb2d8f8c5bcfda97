//! Simulated annealing over loads: who is in them, in which kiln, and in which
//! order they claim kilns, furnace and ramps.

mod moves;
mod times;

use crate::plan::floor::Floors;
use crate::plan::model::Model;
use crate::random::Random;

use super::board::{Board, Timing};
use super::draft::{Draft, Unit, UnitNo};
use super::schedule::{Cost, Schedule, cost_of, waiting};

/// How much a load and a minute of makespan count against a minute of weighted tardiness.
#[derive(Debug, Clone, Copy)]
pub(super) struct Worth {
    pub(super) load: f64,
    pub(super) makespan: f64,
    /// What a breach counts, as a share of what it counts in the end.
    pub(super) broken: f64,
    /// Differences of this size are accepted one time in e.
    pub(super) warmth: f64,
}

/// A list of loads, each of which takes the earliest time left by those before it.
#[derive(Debug, Clone)]
pub(super) struct Line<'m> {
    board: Board<'m>,
    /// The board as it was before a change.
    old_board: Board<'m>,
    /// Loads that stay as they are, and what they cost.
    fixed: Vec<(Draft, Timing)>,
    fixed_cost: Cost,
    /// Loads with their times and costs; free places are kept for the next load.
    pool: Vec<Entry>,
    free: Vec<usize>,
    /// Numbers of the loads in the pool, in the order in which they choose.
    list: Vec<usize>,
    /// The load of each unit.
    home: Vec<usize>,
    units_here: Vec<UnitNo>,
    /// Units in no load.
    waiting: Vec<UnitNo>,
    /// The unit that a change takes from those, and the one that it sends to them.
    called: Option<UnitNo>,
    sent: Option<UnitNo>,
    random: Random,
    saved: Vec<(usize, Draft)>,
    saved_list: Vec<usize>,
    undone: Vec<(usize, Timing, Cost)>,
    /// Memory of drafts and timings that are done with: a step asks the system for none.
    old_drafts: Vec<Draft>,
    old_timings: Vec<Timing>,
}

#[derive(Debug, Clone, Default)]
struct Entry {
    draft: Draft,
    timing: Timing,
    cost: Cost,
}

const NOWHERE: usize = usize::MAX;

impl<'m> Line<'m> {
    /// A line of those loads of a schedule that `free` picks, in order of their
    /// starts; the others stay as they are. None when the free loads do not
    /// all find a time in that order.
    pub(super) fn new(
        schedule: &Schedule<'m>,
        units: &[Unit],
        seed: u64,
        free: impl Fn(&Draft) -> bool,
    ) -> Option<Self> {
        let model = schedule.board.model;
        let mut line = Self {
            board: Board::new(model),
            old_board: Board::new(model),
            fixed: Vec::new(),
            fixed_cost: Cost::default(),
            pool: Vec::new(),
            free: Vec::new(),
            list: Vec::new(),
            home: vec![NOWHERE; units.len()],
            units_here: Vec::new(),
            waiting: schedule.waiting.clone(),
            called: None,
            sent: None,
            random: Random::new(seed),
            saved: Vec::new(),
            saved_list: Vec::new(),
            undone: Vec::new(),
            old_drafts: Vec::new(),
            old_timings: Vec::new(),
        };
        let mut loads: Vec<_> = schedule.loads.iter().collect();
        loads.sort_by_key(|(draft, timing)| (draft.exactly.is_none(), timing.start, draft.kiln));
        for (draft, timing) in loads {
            if draft.under_way || !free(draft) {
                line.board.enter(draft.kiln, draft.programme, &draft.order, timing);
                line.fixed_cost.add(&cost_of(model, draft, timing));
                line.fixed.push((draft.clone(), timing.clone()));
                continue;
            }
            let number = line.pool.len();
            for &unit in &draft.units {
                line.home[usize::from(unit)] = number;
                if units[usize::from(unit)].place.is_none() {
                    line.units_here.push(unit);
                }
            }
            line.pool.push(Entry { draft: draft.clone(), ..Entry::default() });
            line.list.push(number);
        }
        let any = Worth { load: 0.0, makespan: 0.0, broken: 1.0, warmth: 1.0 };
        line.place_from(0, f64::INFINITY, &any).then_some(line)
    }

    /// The schedule as it stands.
    pub(super) fn schedule(&self) -> Schedule<'m> {
        Schedule {
            board: self.board.clone(),
            loads: self
                .fixed
                .iter()
                .cloned()
                .chain(self.list.iter().map(|&number| {
                    (self.pool[number].draft.clone(), self.pool[number].timing.clone())
                }))
                .collect(),
            waiting: self.waiting.clone(),
        }
    }

    pub(super) fn cost(&self) -> Cost {
        let mut total = self.fixed_cost;
        total.add(&waiting(self.waiting.len()));
        for &number in &self.list {
            total.add(&self.pool[number].cost);
        }
        total
    }

    fn model(&self) -> &'m Model {
        self.board.model
    }

    /// Places the loads from a position of the list on; false, with some of
    /// them placed, when one has no time or the cost passes the limit.
    fn place_from(&mut self, position: usize, limit: f64, worth: &Worth) -> bool {
        let model = self.model();
        let mut total = self.cost_until(position);
        let mut rest = self.least_from(position, worth);
        for at in position..self.list.len() {
            let entry = &mut self.pool[self.list[at]];
            rest -= worth.load + entry.draft.least as f64;
            if !self.board.earliest(&entry.draft.wanted(), &mut entry.timing) {
                self.list.truncate(at);
                return false;
            }
            self.board.enter(
                entry.draft.kiln,
                entry.draft.programme,
                &entry.draft.order,
                &entry.timing,
            );
            entry.cost = cost_of(model, &entry.draft, &entry.timing);
            total.add(&entry.cost);
            if total.scalar(worth) + rest > limit {
                self.list.truncate(at + 1);
                return false;
            }
        }
        true
    }

    /// What does not change with the loads from a position of the list on.
    fn cost_until(&self, position: usize) -> Cost {
        let mut total = self.fixed_cost;
        let away = self.waiting.len() + usize::from(self.sent.is_some());
        total.add(&waiting(away - usize::from(self.called.is_some())));
        for &number in &self.list[..position] {
            total.add(&self.pool[number].cost);
        }
        total
    }

    /// What a change counts at least whose first load is at this position.
    fn at_least(&self, first: usize, worth: &Worth) -> f64 {
        self.cost_until(first).scalar(worth) + self.least_from(first, worth)
    }

    /// What the loads from a position on count at least.
    fn least_from(&self, position: usize, worth: &Worth) -> f64 {
        let loads = &self.list[position..];
        let least: i64 = loads.iter().map(|&number| self.pool[number].draft.least).sum();
        least as f64 + worth.load * loads.len() as f64
    }

    /// So many random changes; the best schedule met, if it costs less than what is known.
    pub(super) fn steps(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        worth: &Worth,
        steps: u64,
        mut known: Cost,
    ) -> Option<Schedule<'m>> {
        let mut best = None;
        for _ in 0..steps {
            if self.step(floors, units, worth) && self.cost() < known {
                known = self.cost();
                best = Some(self.schedule());
            }
        }
        best
    }

    /// One random change, kept or not.
    pub(super) fn step(&mut self, floors: &mut Floors, units: &[Unit], worth: &Worth) -> bool {
        self.old_drafts.extend(self.saved.drain(..).map(|(_, draft)| draft));
        self.old_timings.extend(self.undone.drain(..).map(|(_, timing, _)| timing));
        self.called = None;
        self.sent = None;
        self.saved_list.clear();
        self.saved_list.extend_from_slice(&self.list);
        let before = self.cost().scalar(worth);
        let limit = before - worth.warmth * (1.0 - self.random.unit()).ln();
        let first = match self.change(floors, units) {
            Some(first) if self.at_least(first, worth) <= limit => first,
            _ => {
                self.restore_drafts();
                return false;
            }
        };
        self.old_board.clone_from(&self.board);
        for at in (first..self.saved_list.len()).rev() {
            let number = self.saved_list[at];
            let kiln = self
                .saved
                .iter()
                .find(|one| one.0 == number)
                .map_or(self.pool[number].draft.kiln, |one| one.1.kiln);
            let entry = &mut self.pool[number];
            self.board.lift(kiln, &entry.timing);
            let room = self.old_timings.pop().unwrap_or_default();
            self.undone.push((number, std::mem::replace(&mut entry.timing, room), entry.cost));
        }
        if self.place_from(first, limit, worth) {
            let (called, sent) = (self.called.take(), self.sent.take());
            self.waiting.retain(|&unit| Some(unit) != called);
            self.units_here.retain(|&unit| Some(unit) != sent);
            self.units_here.extend(called);
            self.waiting.extend(sent);
            self.settle();
            return true;
        }
        std::mem::swap(&mut self.board, &mut self.old_board);
        self.restore_drafts();
        while let Some((number, timing, cost)) = self.undone.pop() {
            let entry = &mut self.pool[number];
            self.old_timings.push(std::mem::replace(&mut entry.timing, timing));
            entry.cost = cost;
        }
        false
    }

    /// After a change that is kept: where each unit is now, and which places are free.
    fn settle(&mut self) {
        for &(number, _) in &self.saved {
            if self.pool[number].draft.units.is_empty() {
                self.free.push(number);
            }
            for &unit in &self.pool[number].draft.units {
                self.home[usize::from(unit)] = number;
            }
        }
    }

    fn restore_drafts(&mut self) {
        while let Some((number, draft)) = self.saved.pop() {
            if draft.units.is_empty() {
                self.free.push(number);
            }
            self.old_drafts.push(std::mem::replace(&mut self.pool[number].draft, draft));
        }
        self.list.clear();
        self.list.extend_from_slice(&self.saved_list);
    }

    fn position(&self, number: usize) -> usize {
        self.list.iter().position(|&one| one == number).unwrap_or(0)
    }

    /// Changes members of a load, remembering what it was.
    fn alter(&mut self, units: &[Unit], number: usize, change: impl FnOnce(&mut Draft)) {
        self.remember(number);
        let model = self.model();
        let draft = &mut self.pool[number].draft;
        change(draft);
        draft.derive(model, units);
    }

    fn remember(&mut self, number: usize) {
        if !self.saved.iter().any(|one| one.0 == number) {
            let mut draft = self.old_drafts.pop().unwrap_or_default();
            draft.clone_from(&self.pool[number].draft);
            self.saved.push((number, draft));
        }
    }

    /// Whether a load could run; when it does not fit its kiln another is tried.
    fn possible(&mut self, floors: &mut Floors, units: &[Unit], number: usize) -> bool {
        let model = self.model();
        let draft = &self.pool[number].draft;
        if draft.possible(model, floors, units) {
            return true;
        }
        if draft.exactly.is_some() || model.kilns.len() < 2 {
            return false;
        }
        let shift = 1 + self.random.below(model.kilns.len() - 1);
        let kiln = (draft.kiln + shift) % model.kilns.len();
        self.alter(units, number, |draft| draft.kiln = kiln);
        self.pool[number].draft.possible(model, floors, units)
    }
}

impl Cost {
    /// One number to compare by while the search is warm.
    pub(super) fn scalar(&self, worth: &Worth) -> f64 {
        worth.broken * self.broken as f64
            + self.delay as f64
            + worth.load * self.loads as f64
            + worth.makespan * self.makespan as f64
    }
}
