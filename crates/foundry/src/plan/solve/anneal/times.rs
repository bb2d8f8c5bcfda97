//! Changes of when: the order of pours, pours held back, loads put off or served earlier.

use crate::plan::calendar::Min;

use super::Line;
use crate::plan::solve::draft::Unit;

impl Line<'_> {
    /// Pours two flasks of one casting temperature the other way round.
    pub(super) fn reorder(
        &mut self,
        units: &[Unit],
        from: usize,
        position: usize,
    ) -> Option<usize> {
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
    pub(super) fn give_way(&mut self, from: usize, position: usize) -> Option<usize> {
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
    pub(super) fn put_off(
        &mut self,
        units: &[Unit],
        from: usize,
        position: usize,
    ) -> Option<usize> {
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

    /// Starts a load later while its pours stay when they are, so that its ramps are out of the
    /// way of others; or as soon as it can again.
    pub(super) fn start_later(&mut self, from: usize, position: usize) -> Option<usize> {
        let hold = self.model().hold_min;
        let draft = &self.pool[from].draft;
        if draft.exactly.is_some() || hold == 0 {
            return None;
        }
        let wait = if draft.wait > 0 && self.random.below(2) == 1 {
            0
        } else {
            1 + self.random.below(hold as usize) as Min
        };
        self.remember(from);
        self.pool[from].draft.wait = wait;
        Some(position)
    }

    pub(super) fn shift(&mut self, from: usize, position: usize) -> Option<usize> {
        let to_position = self.near(position);
        if to_position == position {
            return None;
        }
        self.list.remove(position);
        self.list.insert(to_position, from);
        Some(position.min(to_position))
    }
}
