//! The time table: kilns, the furnace and ramps, and where a load finds room in them.

use smallvec::SmallVec;

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};

/// A load whose members are known and whose time is asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted<'a> {
    pub(super) kiln: usize,
    pub(super) programme: u16,
    /// Not to be started earlier.
    pub(super) from: Min,
    /// To be started so many minutes later than could be, where its pours stay when they are,
    pub(super) wait: Min,
    /// and not after this.
    pub(super) latest: Min,
    /// To be started exactly then, whatever the hours.
    pub(super) exactly: Option<Min>,
    /// Already in the kiln: its hold and span are as they are.
    pub(super) under_way: bool,
    /// No pour before this.
    pub(super) pours_from: Min,
    /// The members in the order in which they are poured.
    pub(super) order: &'a [FlaskNo],
    /// For each of them a minute before which it is not poured; may be empty.
    pub(super) held: &'a [Min],
}

/// A time found for a load.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Timing {
    pub(super) start: Min,
    /// Starts of the pours, in the order of the load.
    pub(super) pours: Vec<Min>,
}

/// A pour on the furnace.
#[derive(Debug, Clone, Copy)]
struct Slot {
    at: Min,
    alloy: u16,
}

/// A load in a kiln.
#[derive(Debug, Clone, Copy)]
struct Stay {
    start: Min,
    /// End of the last pour.
    over: Min,
    programme: u16,
}

/// The time table.
#[derive(Debug)]
pub(super) struct Board<'m> {
    pub(super) model: &'m Model,
    furnace: Vec<Slot>,
    kilns: Vec<Vec<Stay>>,
}

impl Clone for Board<'_> {
    fn clone(&self) -> Self {
        Self { model: self.model, furnace: self.furnace.clone(), kilns: self.kilns.clone() }
    }

    /// Copies into the memory that is there.
    fn clone_from(&mut self, source: &Self) {
        self.model = source.model;
        self.furnace.clone_from(&source.furnace);
        self.kilns.clone_from(&source.kilns);
    }
}

impl<'m> Board<'m> {
    pub(super) fn new(model: &'m Model) -> Self {
        Self { model, furnace: Vec::new(), kilns: vec![Vec::new(); model.kilns.len()] }
    }

    /// Enters a load at a time found for it.
    pub(super) fn enter(
        &mut self,
        kiln: usize,
        programme: u16,
        order: &[FlaskNo],
        timing: &Timing,
    ) {
        for (&flask, &at) in order.iter().zip(&timing.pours) {
            self.pour(flask, at);
        }
        self.occupy(kiln, programme, timing);
    }

    /// Enters a pour on the furnace.
    pub(super) fn pour(&mut self, flask: FlaskNo, at: Min) {
        let alloy = self.model.flasks[usize::from(flask)].alloy;
        let position = self.furnace.partition_point(|slot| slot.at < at);
        self.furnace.insert(position, Slot { at, alloy });
    }

    /// Enters a load in its kiln, without its pours.
    pub(super) fn occupy(&mut self, kiln: usize, programme: u16, timing: &Timing) {
        let last = timing.pours.iter().copied().max().unwrap_or(timing.start);
        let over = last + self.model.pour_min;
        let stays = &mut self.kilns[kiln];
        let position = stays.partition_point(|stay| stay.start < timing.start);
        stays.insert(position, Stay { start: timing.start, over, programme });
    }

    /// Takes a load out again.
    pub(super) fn lift(&mut self, kiln: usize, timing: &Timing) {
        for &at in &timing.pours {
            let position = self.furnace.partition_point(|slot| slot.at < at);
            self.furnace.remove(position);
        }
        let stays = &mut self.kilns[kiln];
        let position = stays.partition_point(|stay| stay.start < timing.start);
        stays.remove(position);
    }

    /// The earliest time at which a load can run beside what is on the board.
    ///
    /// With its pours in the given order every constraint is either a least
    /// distance between two times or a set of times one may take, so that of
    /// two possible timings the earlier of each pair of times is possible too:
    /// there is one earliest timing, found by only ever moving times later.
    pub(super) fn earliest(&self, wanted: &Wanted<'_>, timing: &mut Timing) -> bool {
        let stays = &self.kilns[wanted.kiln];
        let turnaround = self.model.kilns[wanted.kiln].turnaround;
        let mut gap = stays.partition_point(|stay| stay.over + turnaround <= wanted.from);
        if let Some(start) = wanted.exactly {
            gap = stays.partition_point(|stay| stay.start < start);
        }
        loop {
            let after = gap.checked_sub(1).map_or(Min::MIN, |last| stays[last].over + turnaround);
            let before = stays.get(gap).map_or(Min::MAX, |next| next.start - turnaround);
            if self.in_gap(wanted, wanted.from.max(after), before, timing) {
                return true;
            }
            if gap >= stays.len() || wanted.exactly.is_some() {
                return false;
            }
            gap += 1;
        }
    }

    /// The earliest timing from one minute on that is over by another.
    fn in_gap(&self, wanted: &Wanted<'_>, from: Min, over_by: Min, timing: &mut Timing) -> bool {
        let model = self.model;
        let burn = model.load_min + model.burn(wanted.kiln, wanted.programme).minutes;
        let pouring = model.pour_min * wanted.order.len() as Min;
        // Most gaps are too short for any load.
        if wanted.exactly.is_none() && from + burn + pouring > over_by {
            return false;
        }
        let mut start = from;
        let mut first_from = wanted.pours_from;
        loop {
            start = match wanted.exactly {
                // A load that is in the kiln is past the rules of starting.
                Some(exactly) if wanted.under_way => exactly,
                Some(exactly) if exactly >= start => match self.start_from(wanted, exactly) {
                    Some(possible) if possible == exactly => exactly,
                    _ => return false,
                },
                Some(_) => return false,
                None => match self.start_from(wanted, start) {
                    Some(start) if start + burn + pouring <= over_by => start,
                    _ => return false,
                },
            };
            let end = start + burn;
            if !self.pours(wanted, first_from.max(end), &mut timing.pours) {
                return false;
            }
            let (first, last) = (timing.pours[0], timing.pours[timing.pours.len() - 1]);
            if wanted.under_way {
                break;
            }
            if last - first > model.span_min {
                first_from = last - model.span_min;
            } else if first > end + model.hold_min {
                if wanted.exactly.is_some() {
                    return false;
                }
                start = first - model.hold_min - burn;
            } else if let Some(later) = self.clear_of_outages(wanted.kiln, start, last) {
                if wanted.exactly.is_some() {
                    return false;
                }
                start = later;
            } else {
                break;
            }
        }
        if wanted.wait > 0
            && wanted.exactly.is_none()
            && let Some(later) = self.start_from(wanted, start + wanted.wait)
            && later <= wanted.latest.min(timing.pours[0] - burn)
        {
            start = later;
        }
        timing.start = start;
        timing.pours[timing.pours.len() - 1] + model.pour_min <= over_by
    }

    /// The first start from this minute on in staffed hours and within the limit of ramps.
    fn start_from(&self, wanted: &Wanted<'_>, from: Min) -> Option<Min> {
        let mut start = from;
        loop {
            start = self.model.load_starts.next(start)?;
            match self.ramps_clash(wanted.kiln, wanted.programme, start) {
                Some(later) => start = later,
                None => return Some(start),
            }
        }
    }

    /// Where the kiln is out of use during the load: the end of that time.
    fn clear_of_outages(&self, kiln: usize, start: Min, last_pour: Min) -> Option<Min> {
        let over = last_pour + self.model.pour_min;
        self.model.kilns[kiln]
            .out_of_use
            .iter()
            .find(|out| start < out.1 && out.0 < over)
            .map(|out| out.1)
    }

    /// Earliest pours in the given order from this minute on.
    fn pours(&self, wanted: &Wanted<'_>, from: Min, pours: &mut Vec<Min>) -> bool {
        let model = self.model;
        pours.clear();
        let mut at = from.max(model.now);
        let mut previous: Option<(i32, u16)> = None;
        let mut slot = self.furnace.partition_point(|slot| slot.at <= at);
        for (place, &flask) in wanted.order.iter().enumerate() {
            let flask = &model.flasks[usize::from(flask)];
            if let Some((temp_c, alloy)) = previous {
                let cooling = model.cooling(wanted.kiln, temp_c, flask.temp_c);
                at += model.pour_gap(alloy, flask.alloy).max(model.pour_min + cooling);
            }
            at = at.max(wanted.held.get(place).copied().unwrap_or(Min::MIN));
            match self.furnace_free(flask.alloy, at, &mut slot) {
                Some(free) => at = free,
                None => return false,
            }
            pours.push(at);
            previous = Some((flask.temp_c, flask.alloy));
        }
        !pours.is_empty()
    }

    /// All pours: when, and which alloy.
    pub(super) fn poured(&self) -> impl Iterator<Item = (Min, u16)> {
        self.furnace.iter().map(|slot| (slot.at, slot.alloy))
    }

    /// The loads of a kiln: when they start, and when their last pour ends.
    pub(super) fn stays(&self, kiln: usize) -> impl Iterator<Item = (Min, Min)> {
        self.kilns[kiln].iter().map(|stay| (stay.start, stay.over))
    }

    /// All ramps: from when, to when.
    pub(super) fn ramps(&self) -> impl Iterator<Item = (Min, Min)> {
        let model = self.model;
        let stays = (0..).zip(&self.kilns);
        let stays = stays.flat_map(|(kiln, stays)| stays.iter().map(move |stay| (kiln, stay)));
        stays.flat_map(move |(kiln, stay)| {
            let lit = stay.start + model.load_min;
            let ramps = &model.burn(kiln, stay.programme).ramps;
            ramps.iter().map(move |ramp| (lit + ramp.0, lit + ramp.1))
        })
    }

    /// The first pour after this minute: when the furnace is free of it for an alloy.
    pub(super) fn after_next_pour(&self, minute: Min, alloy: u16) -> Option<Min> {
        let next = self.furnace.get(self.furnace.partition_point(|slot| slot.at <= minute))?;
        Some(next.at + self.model.pour_gap(next.alloy, alloy))
    }

    /// When the furnace is free for an alloy after the last pour before this minute.
    pub(super) fn after_last_pour(&self, minute: Min, alloy: u16) -> Option<Min> {
        let before = self.furnace.partition_point(|slot| slot.at < minute).checked_sub(1)?;
        let last = self.furnace[before];
        Some(last.at + self.model.pour_gap(last.alloy, alloy))
    }

    /// The first minute from this one on at which an alloy can be poured;
    /// `slot` is the number of a pour not after the first one later than it.
    fn furnace_free(&self, alloy: u16, from: Min, slot: &mut usize) -> Option<Min> {
        let model = self.model;
        let mut at = from;
        loop {
            at = model.pour_starts.next(at)?;
            while self.furnace.get(*slot).is_some_and(|later| later.at <= at) {
                *slot += 1;
            }
            // Alloys differ or not: a third pour between two never shortens
            // their distance, so the neighbours are enough.
            if let Some(before) = slot.checked_sub(1).map(|last| self.furnace[last]) {
                let free = before.at + model.pour_gap(before.alloy, alloy);
                if free > at {
                    at = free;
                    continue;
                }
            }
            match self.furnace.get(*slot) {
                Some(after) if at + model.pour_gap(alloy, after.alloy) > after.at => {
                    at = after.at + model.pour_gap(after.alloy, alloy);
                }
                _ => return Some(at),
            }
        }
    }

    /// None when ramps of a load starting then stay within the limit;
    /// otherwise the first start at which this clash is over.
    fn ramps_clash(&self, kiln: usize, programme: u16, start: Min) -> Option<Min> {
        let model = self.model;
        if model.ramp_limit >= model.kilns.len() {
            return None;
        }
        let own = model.burn(kiln, programme);
        let lit = start + model.load_min;
        let end = lit + own.minutes;
        // Never so many in practice that memory has to be asked for.
        let mut others: SmallVec<[(Min, Min); 32]> = SmallVec::new();
        let mut kilns_lit = 0;
        for (other, stays) in self.kilns.iter().enumerate() {
            if other == kiln {
                continue;
            }
            let before = others.len();
            let later = stays.partition_point(|stay| stay.start + model.load_min < end);
            for stay in stays[..later].iter().rev() {
                let burning = model.burn(other, stay.programme);
                let other_lit = stay.start + model.load_min;
                if other_lit + burning.minutes <= lit {
                    break;
                }
                others.extend(burning.ramps.iter().map(|r| (other_lit + r.0, other_lit + r.1)));
            }
            kilns_lit += usize::from(others.len() > before);
        }
        if kilns_lit < model.ramp_limit {
            return None;
        }
        for ramp in &own.ramps {
            let (from, to) = (lit + ramp.0, lit + ramp.1);
            let beside = |other: &&(Min, Min)| other.0 < to && from < other.1;
            for &(begin, _) in others.iter().filter(beside) {
                let at = begin.max(from);
                let mut at_once = 0;
                let mut one_over = Min::MAX;
                for &(begin, over) in others.iter().filter(beside) {
                    if begin <= at && at < over {
                        at_once += 1;
                        one_over = one_over.min(over);
                    }
                }
                if at_once >= model.ramp_limit {
                    return Some(start + one_over - from);
                }
            }
        }
        None
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;
    use crate::plan::solve::draft::{Draft, Unit};
    use crate::plan::solve::plan_support;

    /// The earliest time of a load of one unit that is put off by so many minutes.
    fn timed(board: &Board<'_>, units: &[Unit], unit: u16, wait: Min) -> Option<Timing> {
        let mut draft = Draft::new(board.model, units, 0, unit);
        draft.wait = wait;
        let mut timing = Timing::default();
        board.earliest(&draft.wanted(), &mut timing).then_some(timing)
    }

    #[test]
    fn a_load_is_put_off_only_while_its_pours_stay_when_they_are() {
        let (mut put_off, mut not) = (0, 0);
        for seed in 1..=10 {
            let problem = plan_support::problem(seed, 8, 2);
            let (model, _) = Model::new(&problem);
            let mut units: Vec<Unit> = (0..8).map(|flask| Unit::new(&model, vec![flask])).collect();
            let board = Board::new(&model);
            for unit in 0..8 {
                if units[usize::from(unit)].kilns & 1 == 0 {
                    continue;
                }
                // Some could not be fired alone.
                let Some(soon) = timed(&board, &units, unit, 0) else { continue };
                let programme = model.flasks[usize::from(unit)].programme;
                let over = soon.start + model.load_min + model.burn(0, programme).minutes;
                // Every other one may start only a little later.
                let latest = &mut units[usize::from(unit)].latest;
                if unit % 2 == 0 {
                    *latest = soon.start + 10;
                }
                let latest = *latest;
                for minutes in [1, 7, 60, 240] {
                    let later = timed(&board, &units, unit, minutes).unwrap();
                    let there = soon.start + minutes;
                    assert_eq!(later.pours, soon.pours, "seed {seed}");
                    let staffed = model.load_starts.next(there) == Some(there);
                    if staffed && there <= latest && over + minutes <= soon.pours[0] {
                        assert_eq!(later.start, there, "seed {seed}");
                        put_off += 1;
                    } else if over + minutes > soon.pours[0] || there > latest {
                        assert_eq!(later.start, soon.start, "seed {seed}");
                        not += 1;
                    }
                }
            }
        }
        assert!(put_off > 10 && not > 10, "{put_off} {not}");
    }
}
