//! Simulated annealing over loads: who is in them, in which kiln, and in which
//! order they claim kilns, furnace and ramps.

use crate::plan::calendar::Min;
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
    /// Differences of this size are accepted one time in e.
    pub(super) warmth: f64,
}

/// A list of loads, each of which takes the earliest time left by those before it.
#[derive(Debug, Clone)]
pub(super) struct Line<'m> {
    board: Board<'m>,
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
        free: impl Fn(&Draft, &Timing) -> bool,
    ) -> Option<Self> {
        let model = schedule.board.model;
        let mut line = Self {
            board: Board::new(model),
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
        };
        let mut loads: Vec<_> = schedule.loads.iter().collect();
        loads.sort_by_key(|(draft, timing)| (draft.exactly.is_none(), timing.start, draft.kiln));
        for (draft, timing) in loads {
            if draft.under_way || !free(draft, timing) {
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
        let any = Worth { load: 0.0, makespan: 0.0, warmth: 1.0 };
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
        let mut total = self.fixed_cost;
        let away = self.waiting.len() + usize::from(self.sent.is_some());
        total.add(&waiting(away - usize::from(self.called.is_some())));
        for &number in &self.list[..position] {
            total.add(&self.pool[number].cost);
        }
        for at in position..self.list.len() {
            let entry = &mut self.pool[self.list[at]];
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
            if total.scalar(worth) > limit {
                self.list.truncate(at + 1);
                return false;
            }
        }
        true
    }

    /// One random change, kept or not.
    pub(super) fn step(&mut self, floors: &mut Floors, units: &[Unit], worth: &Worth) -> bool {
        self.saved.clear();
        self.called = None;
        self.sent = None;
        self.saved_list.clear();
        self.saved_list.extend_from_slice(&self.list);
        let before = self.cost().scalar(worth);
        let limit = before - worth.warmth * (1.0 - self.random.unit()).ln();
        let Some(first) = self.change(floors, units) else {
            self.restore_drafts();
            return false;
        };
        self.undone.clear();
        for at in (first..self.saved_list.len()).rev() {
            let number = self.saved_list[at];
            let kiln = self
                .saved
                .iter()
                .find(|one| one.0 == number)
                .map_or(self.pool[number].draft.kiln, |one| one.1.kiln);
            let entry = &mut self.pool[number];
            self.board.lift(kiln, &entry.timing);
            self.undone.push((number, std::mem::take(&mut entry.timing), entry.cost));
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
        for &number in &self.list[first..] {
            let entry = &self.pool[number];
            self.board.lift(entry.draft.kiln, &entry.timing);
        }
        self.restore_drafts();
        while let Some((number, timing, cost)) = self.undone.pop() {
            let entry = &mut self.pool[number];
            entry.timing = timing;
            entry.cost = cost;
            self.board.enter(
                entry.draft.kiln,
                entry.draft.programme,
                &entry.draft.order,
                &entry.timing,
            );
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
            self.pool[number].draft = draft;
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
            self.saved.push((number, self.pool[number].draft.clone()));
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

    /// A load near another one in the list.
    fn near(&mut self, position: usize) -> usize {
        let reach = if self.random.below(8) == 0 { self.list.len() } else { 7 };
        let low = position.saturating_sub(reach);
        let high = (position + reach + 1).min(self.list.len());
        low + self.random.below(high - low)
    }

    /// Makes one random change; the first position of the list it touches, or
    /// none when the change is impossible.
    fn change(&mut self, floors: &mut Floors, units: &[Unit]) -> Option<usize> {
        if !self.waiting.is_empty() && !self.list.is_empty() && self.random.below(4) == 0 {
            return self.call(floors, units);
        }
        if self.units_here.is_empty() {
            return None;
        }
        let unit = self.units_here[self.random.below(self.units_here.len())];
        let from = self.home[usize::from(unit)];
        let position = self.position(from);
        if self.model().per_move > 0 && self.random.below(6) == 0 {
            return self.go_back(floors, units, unit, from, position);
        }
        if !self.model().dear_hours.is_empty() && self.random.below(8) == 0 {
            return self.put_off(units, from, position);
        }
        match self.random.below(36) {
            0..3 => return self.reorder(units, from, position),
            3 => return self.give_way(from, position),
            _ => {}
        }
        match self.random.below(100) {
            0..35 => self.move_unit(floors, units, unit, from, position),
            35..47 => self.split_off(floors, units, unit, from, position),
            47..65 => self.swap_units(floors, units, unit, from, position),
            65..77 => self.shift(from, position),
            77..87 => self.other_kiln(floors, units, from, position),
            87..94 => self.merge(floors, units, from, position),
            _ => self.dissolve(floors, units, from, position),
        }
    }

    /// Puts a unit that is in no load into one, alone, or in place of another.
    fn call(&mut self, floors: &mut Floors, units: &[Unit]) -> Option<usize> {
        let model = self.model();
        let unit = self.waiting[self.random.below(self.waiting.len())];
        let position = self.random.below(self.list.len());
        self.called = Some(unit);
        if self.random.below(3) == 0 {
            let draft = Draft::new(model, units, self.random.below(model.kilns.len()), unit);
            if !draft.possible(model, floors, units) {
                return None;
            }
            self.begin_load(draft, position);
            return Some(position);
        }
        let to = self.list[position];
        let others = &self.pool[to].draft.units;
        let other = others[self.random.below(others.len())];
        if self.random.below(2) == 0 && units[usize::from(other)].place.is_none() {
            self.sent = Some(other);
        }
        let sent = self.sent;
        self.alter(units, to, |draft| {
            draft.units.retain(|&one| Some(one) != sent);
            draft.units.push(unit);
        });
        self.possible(floors, units, to).then_some(position)
    }

    fn take_out(&mut self, units: &[Unit], unit: UnitNo, from: usize) {
        self.alter(units, from, |draft| draft.units.retain(|&one| one != unit));
        if self.pool[from].draft.units.is_empty() {
            self.list.retain(|&one| one != from);
        }
    }

    fn move_unit(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        unit: UnitNo,
        from: usize,
        position: usize,
    ) -> Option<usize> {
        let to_position = self.near(position);
        let to = self.list[to_position];
        if to == from {
            return None;
        }
        self.alter(units, to, |draft| draft.units.push(unit));
        if !self.possible(floors, units, to) {
            return None;
        }
        self.take_out(units, unit, from);
        Some(position.min(to_position))
    }

    fn split_off(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        unit: UnitNo,
        from: usize,
        position: usize,
    ) -> Option<usize> {
        if self.pool[from].draft.units.len() < 2 {
            return None;
        }
        let model = self.model();
        let kiln = self.random.below(model.kilns.len());
        let draft = Draft::new(model, units, kiln, unit);
        if !draft.possible(model, floors, units) {
            return None;
        }
        let to_position = self.near(position);
        self.take_out(units, unit, from);
        self.begin_load(draft, to_position);
        Some(position.min(to_position))
    }

    /// Puts a new load into the list.
    fn begin_load(&mut self, draft: Draft, position: usize) {
        let number = self.free.pop().unwrap_or_else(|| {
            self.pool.push(Entry::default());
            self.pool.len() - 1
        });
        self.pool[number].draft = draft;
        self.saved.push((number, Draft::default()));
        self.list.insert(position.min(self.list.len()), number);
    }

    /// Puts a unit back to where it stands in the accepted plan.
    fn go_back(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        unit: UnitNo,
        from: usize,
        position: usize,
    ) -> Option<usize> {
        let model = self.model();
        let first = usize::from(*units[usize::from(unit)].flasks.first()?);
        let (kiln, start) = model.flasks[first].accepted?;
        let there = |entry: &Entry| entry.draft.kiln == kiln && entry.timing.start == start;
        let draft = &self.pool[from].draft;
        if draft.kiln == kiln && (draft.units.len() == 1 || there(&self.pool[from])) {
            // Only the time of the load itself is left to change.
            let delay = if there(&self.pool[from]) { 0 } else { start };
            self.alter(units, from, |draft| draft.delay = delay);
            return self.pool[from].draft.possible(model, floors, units).then_some(position);
        }
        if let Some(to_position) = self.list.iter().position(|&one| there(&self.pool[one])) {
            let to = self.list[to_position];
            self.alter(units, to, |draft| draft.units.push(unit));
            if to == from || !self.pool[to].draft.possible(model, floors, units) {
                return None;
            }
            self.take_out(units, unit, from);
            return Some(position.min(to_position));
        }
        let mut draft = Draft::new(model, units, kiln, unit);
        draft.delay = start;
        draft.derive(model, units);
        if !draft.possible(model, floors, units) {
            return None;
        }
        self.take_out(units, unit, from);
        self.begin_load(draft, position);
        Some(position)
    }

    fn swap_units(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        unit: UnitNo,
        from: usize,
        position: usize,
    ) -> Option<usize> {
        let to_position = self.near(position);
        let to = self.list[to_position];
        let others = &self.pool[to].draft.units;
        let other = others[self.random.below(others.len())];
        if to == from || units[usize::from(other)].place.is_some() {
            return None;
        }
        self.alter(units, to, |draft| {
            draft.units.retain(|&one| one != other);
            draft.units.push(unit);
        });
        if !self.possible(floors, units, to) {
            return None;
        }
        self.alter(units, from, |draft| {
            draft.units.retain(|&one| one != unit);
            draft.units.push(other);
        });
        self.possible(floors, units, from).then_some(position.min(to_position))
    }

    /// Pours two flasks of one casting temperature the other way round.
    fn reorder(&mut self, units: &[Unit], from: usize, position: usize) -> Option<usize> {
        let model = self.model();
        let draft = &self.pool[from].draft;
        let count = draft.order.len();
        let place = self.random.below(count);
        let hot = self.pool[from].draft.equally_hot(model, place);
        let other = hot.start + self.random.below(hot.len());
        if other == place {
            return None;
        }
        let swap = self.random.below(2) == 0;
        self.alter(units, from, |draft| {
            if swap {
                draft.order.swap(place, other);
            } else {
                let flask = draft.order.remove(place);
                draft.order.insert(other, flask);
            }
        });
        Some(position)
    }

    /// Holds a pour back until after the next one on the furnace, or no longer.
    fn give_way(&mut self, from: usize, position: usize) -> Option<usize> {
        let model = self.model();
        let entry = &self.pool[from];
        let count = entry.draft.order.len();
        let place = self.random.below(count);
        let entry = &self.pool[from];
        let alloy = model.flasks[usize::from(entry.draft.order[place])].alloy;
        let at = entry.timing.pours[place];
        let later = if entry.draft.held.is_empty() {
            Some(self.board.after_next_pour(at, alloy)?)
        } else if self.random.below(2) == 0 {
            // What it gives way to may have moved: follow it closely.
            self.board.after_last_pour(at, alloy)
        } else {
            None
        };
        self.remember(from);
        let held = &mut self.pool[from].draft.held;
        held.clear();
        if let Some(later) = later {
            held.resize(count, 0);
            held[place] = later;
        }
        Some(position)
    }

    /// Starts a load later than it could, for cheaper hours, or as soon as it can again.
    fn put_off(&mut self, units: &[Unit], from: usize, position: usize) -> Option<usize> {
        if self.pool[from].draft.exactly.is_some() {
            return None;
        }
        let later = match self.random.below(3) {
            0 => 0,
            _ => self.pool[from].timing.start + 15 * (1 + self.random.below(48)) as Min,
        };
        self.alter(units, from, |draft| draft.delay = later);
        let draft = &self.pool[from].draft;
        (draft.from <= draft.latest).then_some(position)
    }

    fn shift(&mut self, from: usize, position: usize) -> Option<usize> {
        let to_position = self.near(position);
        if to_position == position {
            return None;
        }
        self.list.remove(position);
        self.list.insert(to_position, from);
        Some(position.min(to_position))
    }

    fn other_kiln(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        from: usize,
        position: usize,
    ) -> Option<usize> {
        let model = self.model();
        if model.kilns.len() < 2 || self.pool[from].draft.exactly.is_some() {
            return None;
        }
        let kiln = self.random.below(model.kilns.len());
        let old = self.pool[from].draft.kiln;
        if kiln == old {
            return None;
        }
        self.alter(units, from, |draft| draft.kiln = kiln);
        if !self.pool[from].draft.possible(model, floors, units) {
            return None;
        }
        let mut first = position;
        if self.random.below(3) == 0 {
            // Change places with a load of the other kiln.
            let to_position = self.near(position);
            let to = self.list[to_position];
            let other = &self.pool[to].draft;
            if to != from && other.kiln == kiln && other.exactly.is_none() {
                self.alter(units, to, |draft| draft.kiln = old);
                if !self.pool[to].draft.possible(model, floors, units) {
                    return None;
                }
                first = first.min(to_position);
            }
        }
        Some(first)
    }

    fn merge(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        from: usize,
        position: usize,
    ) -> Option<usize> {
        let to_position = self.near(position);
        let to = self.list[to_position];
        if to == from || self.pool[from].draft.exactly.is_some() {
            return None;
        }
        let members = self.pool[from].draft.units.clone();
        self.alter(units, to, |draft| draft.units.extend(members));
        if !self.possible(floors, units, to) {
            return None;
        }
        self.alter(units, from, |draft| draft.units.clear());
        self.list.remove(position);
        Some(position.min(to_position))
    }

    /// Gives every member of a load to some other load.
    fn dissolve(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        from: usize,
        position: usize,
    ) -> Option<usize> {
        if self.pool[from].draft.exactly.is_some() {
            return None;
        }
        let members = self.pool[from].draft.units.clone();
        let mut first = position;
        for unit in members {
            let begin = self.near(position);
            let count = self.list.len();
            let found = (0..count.min(12)).any(|offset| {
                let to_position = (begin + offset) % count;
                let to = self.list[to_position];
                if to == from {
                    return false;
                }
                let old = self.pool[to].draft.clone();
                self.alter(units, to, |draft| draft.units.push(unit));
                if self.pool[to].draft.possible(self.board.model, floors, units) {
                    first = first.min(to_position);
                    return true;
                }
                self.pool[to].draft = old;
                false
            });
            if !found {
                return None;
            }
        }
        self.alter(units, from, |draft| draft.units.clear());
        self.list.remove(position);
        Some(first)
    }
}

impl Cost {
    /// One number to compare by while the search is warm.
    fn scalar(&self, worth: &Worth) -> f64 {
        self.broken as f64
            + self.delay as f64
            + worth.load * self.loads as f64
            + worth.makespan * self.makespan as f64
    }
}
