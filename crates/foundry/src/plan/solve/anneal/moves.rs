//! The random changes of a line of loads: who is in which load, and in which kiln.

use crate::plan::floor::Floors;

use super::{Entry, Line};
use crate::plan::solve::draft::{Draft, Unit, UnitNo};

impl Line<'_> {
    /// A load near another one in the list.
    pub(super) fn near(&mut self, position: usize) -> usize {
        let reach = if self.random.below(8) == 0 { self.list.len() } else { 7 };
        let low = position.saturating_sub(reach);
        let high = (position + reach + 1).min(self.list.len());
        low + self.random.below(high - low)
    }

    /// Makes one random change; the first position of the list it touches, or
    /// none when the change is impossible.
    pub(super) fn change(&mut self, floors: &mut Floors, units: &[Unit]) -> Option<usize> {
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
            4..6 => return self.start_later(from, position),
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
        if !self.pool[to].draft.is_company(&units[usize::from(unit)]) {
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
