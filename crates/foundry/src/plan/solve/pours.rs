//! The order of all pours on the furnace, improved while loads keep their members and kilns.
//!
//! The search of loads gives each load the earliest pours that those before it leave. Where two
//! loads are poured in turns several pours may have to wait for several others, which no single
//! change of a load does.

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};

use super::board::Timing;
use super::draft::Draft;
use super::schedule::Schedule;

/// So many neighbouring pours are moved together,
const MOST_AT_ONCE: usize = 3;
/// past so many others.
const FARTHEST: usize = 6;

/// A better schedule of the same loads, if their pours can be put in a better order.
pub(super) fn reordered<'m>(schedule: &Schedule<'m>) -> Option<Schedule<'m>> {
    let mut better: Option<Schedule<'m>> = None;
    loop {
        let from = better.as_ref().unwrap_or(schedule);
        let mut sequence = Sequence::of(from);
        if !sequence.improve() {
            return better;
        }
        let kept = sequence.kept(from);
        // Loads that start earlier leave their pours more room to be ordered anew.
        let earlier = started_earlier(&kept);
        let found = [Some(kept), earlier].into_iter().flatten().min_by_key(Schedule::cost);
        match found.filter(|found| found.cost() < from.cost()) {
            Some(found) => better = Some(found),
            None => return better,
        }
    }
}

/// A load at its place, whose pours are to be ordered.
#[derive(Debug)]
struct Stay {
    kiln: usize,
    /// When its programme ends, and the latest first pour.
    ends: Min,
    first_by: Min,
    /// When its last pour has to be over.
    over_by: Min,
    /// It is in its kiln already: its pours are past choosing.
    under_way: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Pour {
    load: usize,
    flask: FlaskNo,
    at: Min,
}

/// What is known of a load while its pours are timed.
#[derive(Debug, Clone, Copy)]
struct Poured {
    first: Min,
    last: Min,
    temp_c: i32,
}

/// All pours one after the other.
#[derive(Debug)]
struct Sequence<'m> {
    model: &'m Model,
    stays: Vec<Stay>,
    pours: Vec<Pour>,
    /// Of each load, while times are found: what was poured of it, and no first pour before this.
    poured: Vec<Option<Poured>>,
    first_from: Vec<Min>,
}

impl<'m> Sequence<'m> {
    fn of(schedule: &Schedule<'m>) -> Self {
        let model = schedule.board.model;
        let stay = |(draft, timing): &(Draft, Timing)| {
            let kiln = &model.kilns[draft.kiln];
            let ends =
                timing.start + model.load_min + model.burn(draft.kiln, draft.programme).minutes;
            let next = schedule.board.stays(draft.kiln).map(|(start, _)| start - kiln.turnaround);
            let outage = kiln.out_of_use.iter().map(|out| out.0);
            let later = next.chain(outage).filter(|&other| other > timing.start);
            Stay {
                kiln: draft.kiln,
                ends,
                first_by: ends + model.hold_min,
                over_by: later.min().unwrap_or(Min::MAX).min(model.horizon),
                under_way: draft.under_way,
            }
        };
        let mut pours: Vec<Pour> = Vec::new();
        for (load, (draft, timing)) in schedule.loads.iter().enumerate() {
            let own = draft.order.iter().zip(&timing.pours);
            pours.extend(own.map(|(&flask, &at)| Pour { load, flask, at }));
        }
        pours.sort_unstable_by_key(|pour| pour.at);
        Self {
            model,
            stays: schedule.loads.iter().map(stay).collect(),
            pours,
            poured: Vec::new(),
            first_from: Vec::new(),
        }
    }

    /// Moves pours past others until that does not help any more; whether anything did.
    fn improve(&mut self) -> bool {
        let Some(mut best) = self.time() else { return false };
        let mut helped = false;
        let mut is_best = false;
        while !is_best {
            is_best = true;
            for length in 1..=MOST_AT_ONCE {
                for from in 0..(self.pours.len() + 1).saturating_sub(length) {
                    let until = (self.pours.len() - length).min(from + FARTHEST);
                    for to in from.saturating_sub(FARTHEST)..=until {
                        if to == from {
                            continue;
                        }
                        self.shift(from, length, to);
                        match self.time().filter(|found| *found < best) {
                            Some(found) => {
                                best = found;
                                (helped, is_best) = (true, false);
                                break;
                            }
                            None => self.shift(to, length, from),
                        }
                    }
                }
            }
        }
        self.time();
        helped
    }

    /// Takes pours out and puts them back elsewhere.
    fn shift(&mut self, from: usize, length: usize, to: usize) {
        if to < from {
            self.pours[to..from + length].rotate_right(length);
        } else {
            self.pours[from..to + length].rotate_left(length);
        }
    }

    /// The earliest times in this order: weighted tardiness and the end; none when a rule about
    /// the pours of a load cannot be kept.
    fn time(&mut self) -> Option<(i64, Min)> {
        self.first_from.clear();
        self.first_from.extend(self.stays.iter().map(|stay| stay.ends));
        loop {
            match self.time_from() {
                Ok(found) => return Some(found),
                // Its first pour has to wait too.
                Err(Some((load, first))) if first <= self.stays[load].first_by => {
                    self.first_from[load] = first;
                }
                Err(_) => return None,
            }
        }
    }

    /// The same while no first pour comes before what is known of it; else, where one has to
    /// come later, which load's and when.
    fn time_from(&mut self) -> Result<(i64, Min), Option<(usize, Min)>> {
        let model = self.model;
        self.poured.clear();
        self.poured.resize(self.stays.len(), None);
        let mut tardiness = 0;
        let mut before: Option<(Min, u16)> = None;
        for pour in &mut self.pours {
            let stay = &self.stays[pour.load];
            let flask = &model.flasks[usize::from(pour.flask)];
            let of_load = self.poured[pour.load];
            let free =
                before.map_or(Min::MIN, |(at, alloy)| at + model.pour_gap(alloy, flask.alloy));
            if stay.under_way {
                if pour.at < free {
                    return Err(None);
                }
            } else {
                let ready = match of_load {
                    None => self.first_from[pour.load],
                    Some(poured) if poured.temp_c < flask.temp_c => return Err(None),
                    Some(poured) => {
                        let cooling = model.cooling(stay.kiln, poured.temp_c, flask.temp_c);
                        poured.last + model.pour_min + cooling
                    }
                };
                pour.at = model.pour_starts.next(free.max(ready).max(model.now)).ok_or(None)?;
            }
            let first = of_load.map_or(pour.at, |poured| poured.first);
            if !stay.under_way {
                if first > stay.first_by || pour.at + model.pour_min > stay.over_by {
                    return Err(None);
                }
                if pour.at - first > model.span_min {
                    return Err(Some((pour.load, pour.at - model.span_min)));
                }
            }
            self.poured[pour.load] = Some(Poured { first, last: pour.at, temp_c: flask.temp_c });
            before = Some((pour.at, flask.alloy));
            tardiness += flask.tardiness(pour.at);
        }
        Ok((tardiness, before.map_or(0, |(at, _)| at)))
    }

    /// The schedule with these pours, all loads starting as they did.
    fn kept(&self, schedule: &Schedule<'m>) -> Schedule<'m> {
        let mut whole = Schedule::new(self.model);
        whole.waiting.clone_from(&schedule.waiting);
        for (number, (draft, timing)) in schedule.loads.iter().enumerate() {
            let (mut draft, mut timing) = (draft.clone(), timing.clone());
            let own = self.pours.iter().filter(|pour| pour.load == number);
            (draft.order, timing.pours) = own.map(|pour| (pour.flask, pour.at)).unzip();
            whole.put(draft, timing);
        }
        whole
    }
}

/// The same loads and pours, each load as early as those that started before it allow; none when
/// one finds no time.
fn started_earlier<'m>(schedule: &Schedule<'m>) -> Option<Schedule<'m>> {
    let mut loads: Vec<&(Draft, Timing)> = schedule.loads.iter().collect();
    loads.sort_by_key(|(draft, timing)| (draft.exactly.is_none(), timing.start, draft.kiln));
    let mut whole = Schedule::new(schedule.board.model);
    whole.waiting.clone_from(&schedule.waiting);
    for (draft, timing) in loads {
        let mut draft = draft.clone();
        if draft.under_way {
            whole.put(draft, timing.clone());
            continue;
        }
        // None is poured earlier: that time may be meant for another.
        draft.held.clone_from(&timing.pours);
        if !whole.add(draft) {
            return None;
        }
    }
    Some(whole)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;
    use crate::plan::solve::construct::construct;
    use crate::plan::solve::plan_support;
    use crate::plan::solve::settle::settle;

    /// The best of all orders of the pours from a position on.
    fn best_of_all(sequence: &mut Sequence<'_>, from: usize) -> Option<(i64, Min)> {
        if from + 1 >= sequence.pours.len() {
            return sequence.time();
        }
        let mut best = None;
        for other in from..sequence.pours.len() {
            sequence.pours.swap(from, other);
            let found = best_of_all(sequence, from + 1);
            sequence.pours.swap(from, other);
            best = [best, found].into_iter().flatten().min();
        }
        best
    }

    #[test]
    fn pours_moved_past_others_find_the_best_of_all_orders() {
        let mut helped = 0;
        for seed in 1..=40 {
            let mut problem = plan_support::problem(seed, 8, 3);
            // Loads of three kilns are poured in the same hours.
            for flask in &mut problem.flasks {
                flask.ready_min = 480;
                flask.latest_start_min = None;
            }
            let (model, mut floors) = Model::new(&problem);
            let settled = settle(&problem, &model, &mut floors);
            let schedule = construct(&mut floors, &settled.units, &settled.schedule);
            if schedule.cost().broken > 0 {
                continue;
            }
            let mut sequence = Sequence::of(&schedule);
            let best = best_of_all(&mut sequence, 0).unwrap();
            let before = sequence.time().unwrap();
            helped += i32::from(sequence.improve());
            let found = sequence.time().unwrap();
            assert!(found <= before, "seed {seed}");
            assert_eq!(found, best, "seed {seed}");
            let kept = sequence.kept(&schedule).cost();
            assert_eq!(
                (kept.tardiness, kept.makespan),
                (best.0, i64::from(best.1 + model.pour_min))
            );
            let reordered = reordered(&schedule).map_or(schedule.cost(), |found| found.cost());
            assert!(reordered <= kept.min(schedule.cost()), "seed {seed}");
        }
        assert!(helped >= 3, "{helped}");
    }
}
