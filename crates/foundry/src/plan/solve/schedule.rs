//! A schedule: loads with their times on a board, and what they cost.

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::Objective;
use crate::random::Random;

use super::board::{Board, Timing};
use super::draft::{Draft, Unit, UnitNo};

/// A minute by which a latest start or the horizon is passed counts as much as this tardiness.
const PER_MINUTE_BROKEN: i64 = 1_000;
/// Passing them at all counts in addition, for each flask of the load: the load is left out.
const PER_BREACH: i64 = 10_000_000;
/// A unit that is in no load counts as much: more than a load of its own that is late by a week.
const PER_WAITING: i64 = 20_000_000;

/// From so many loads on only those near in time are looked at for a place.
const MANY_LOADS: usize = 64;
/// What is near: a week.
const NEAR_MIN: Min = 7 * 1440;

/// What counts in a plan, in this order: tardiness with what moves, wetting and dear hours count;
/// loads; the end.
pub(super) type Value = (i64, i64, i64);

/// What a schedule costs, in the order in which it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Cost {
    /// Latest starts and the horizon passed: zero in a plan.
    pub(super) broken: i64,
    /// Weighted tardiness, and what moving away from an accepted plan, wetting and dear hours count.
    pub(super) delay: i64,
    pub(super) loads: i64,
    pub(super) makespan: i64,
    pub(super) tardiness: i64,
}

impl Cost {
    /// Adds what a load costs.
    pub(super) fn add(&mut self, load: &Self) {
        self.broken += load.broken;
        self.delay += load.delay;
        self.loads += load.loads;
        self.makespan = self.makespan.max(load.makespan);
        self.tardiness += load.tardiness;
    }

    /// What is minimised in a plan that breaks nothing.
    pub(super) fn value(self) -> Value {
        (self.delay, self.loads, self.makespan)
    }

    /// Whether nothing counts but tardiness.
    pub(super) fn is_plain(self) -> bool {
        self.delay == self.tardiness
    }

    pub(super) fn objective(self) -> Objective {
        Objective {
            weighted_tardiness: self.tardiness,
            loads: self.loads,
            makespan_min: self.makespan,
        }
    }
}

/// Cost of one load at its time, without regard to the others.
pub(super) fn cost_of(model: &Model, draft: &Draft, timing: &Timing) -> Cost {
    let mut cost = Cost { loads: 1, ..Cost::default() };
    if draft.exactly.is_none() {
        cost.broken += breach(timing.start - draft.latest);
    }
    for (&flask, &at) in draft.order.iter().zip(&timing.pours) {
        let spec = &model.flasks[usize::from(flask)];
        cost.tardiness += spec.tardiness(at);
        if spec.accepted.is_some_and(|place| place != (draft.kiln, timing.start)) {
            cost.delay += model.per_move;
        }
        cost.makespan = cost.makespan.max(i64::from(at + model.pour_min));
    }
    cost.delay += cost.tardiness;
    if !draft.under_way {
        cost.delay += rewetted(model, draft, timing).map(|(_, minutes)| minutes).sum::<i64>();
        cost.delay += model.dear(draft.kiln, draft.programme, timing.start + model.load_min);
    }
    cost.broken += breach(cost.makespan as Min - model.horizon);
    cost.broken *= draft.order.len() as i64;
    cost
}

/// Members that have to be wetted again before the load starts, and what each counts.
pub(super) fn rewetted<'a>(
    model: &'a Model,
    draft: &'a Draft,
    timing: &'a Timing,
) -> impl Iterator<Item = (FlaskNo, i64)> + 'a {
    draft.order.iter().filter_map(|&flask| {
        let (latest, minutes) = model.flasks[usize::from(flask)].rewet?;
        (timing.start > latest).then_some((flask, minutes))
    })
}

/// What units in no load cost.
pub(super) fn waiting(units: usize) -> Cost {
    Cost { broken: PER_WAITING * units as i64, ..Cost::default() }
}

fn breach(minutes: Min) -> i64 {
    if minutes > 0 { PER_BREACH + PER_MINUTE_BROKEN * i64::from(minutes) } else { 0 }
}

/// Loads with their times.
#[derive(Debug, Clone)]
pub(super) struct Schedule<'m> {
    pub(super) board: Board<'m>,
    pub(super) loads: Vec<(Draft, Timing)>,
    /// Units in no load: those that cannot run alone and found no company yet.
    pub(super) waiting: Vec<UnitNo>,
}

impl<'m> Schedule<'m> {
    pub(super) fn new(model: &'m Model) -> Self {
        Self { board: Board::new(model), loads: Vec::new(), waiting: Vec::new() }
    }

    pub(super) fn cost(&self) -> Cost {
        let mut total = waiting(self.waiting.len());
        for (draft, timing) in &self.loads {
            total.add(&cost_of(self.board.model, draft, timing));
        }
        total
    }

    /// Loads that may change, the nearest in time to one of them first.
    pub(super) fn near_in_time(&self, random: &mut Random) -> Vec<usize> {
        let mut near: Vec<usize> =
            (0..self.loads.len()).filter(|&load| !self.loads[load].0.is_settled()).collect();
        if let Some(&one) = near.get(random.below(near.len())) {
            let begin = self.loads[one].1.start;
            near.sort_by_key(|&load| ((self.loads[load].1.start - begin).abs(), load));
        }
        near
    }

    /// Enters a load at a given time.
    pub(super) fn put(&mut self, draft: Draft, timing: Timing) {
        self.board.enter(draft.kiln, draft.programme, &draft.order, &timing);
        self.loads.push((draft, timing));
    }

    /// Enters a load at its earliest time; false when it has none.
    pub(super) fn add(&mut self, draft: Draft) -> bool {
        let mut timing = Timing::default();
        if !self.board.earliest(&draft.wanted(), &mut timing) {
            return false;
        }
        self.put(draft, timing);
        true
    }

    /// Takes a load out.
    pub(super) fn remove(&mut self, number: usize) -> (Draft, Timing) {
        let (draft, timing) = self.loads.swap_remove(number);
        self.board.lift(draft.kiln, &timing);
        (draft, timing)
    }

    /// Puts a unit where it costs least, alone or with others, everything else
    /// staying where it is; false when there is no place at all, or, unless that is allowed,
    /// only one that passes a latest start or the horizon.
    pub(super) fn insert(
        &mut self,
        floors: &mut Floors,
        units: &[Unit],
        unit: UnitNo,
        load_worth: i64,
        late_too: bool,
    ) -> bool {
        let model = self.board.model;
        let mut sizes = Vec::new();
        let mut timing = Timing::default();
        let mut best: Option<(i64, i64, Option<usize>, Draft, Min)> = None;
        let consider = |best: &mut Option<(i64, i64, Option<usize>, Draft, Min)>,
                        cost: Cost,
                        before: Cost,
                        join: Option<usize>,
                        draft: &Draft,
                        start: Min| {
            let scalar = (cost.broken - before.broken)
                + (cost.delay - before.delay)
                + if join.is_none() { load_worth } else { 0 };
            let end = cost.makespan;
            if best.as_ref().is_none_or(|least| (scalar, end) < (least.0, least.1)) {
                *best = Some((scalar, end, join, draft.clone(), start));
            }
        };
        for kiln in 0..model.kilns.len() {
            let draft = Draft::new(model, units, kiln, unit);
            if draft.possible(model, floors, units)
                && self.board.earliest(&draft.wanted(), &mut timing)
            {
                let cost = cost_of(model, &draft, &timing);
                consider(&mut best, cost, Cost::default(), None, &draft, timing.start);
            }
        }
        let one = &units[usize::from(unit)];
        // Of very many loads only those near in time are looked at, or planning would take the
        // square of their number.
        let many = self.loads.len() > MANY_LOADS;
        let own_start = best.as_ref().map(|(.., start)| *start);
        for number in 0..self.loads.len() {
            let start = self.loads[number].1.start;
            let near = |of: Min| (start - of).abs() <= NEAR_MIN;
            if many && !near(one.ready) && !own_start.is_some_and(near) {
                continue;
            }
            if !self.loads[number].0.takes(model, floors, one, &mut sizes) {
                continue;
            }
            let (old, old_timing) = self.loads[number].clone();
            let before = cost_of(model, &old, &old_timing);
            self.board.lift(old.kiln, &old_timing);
            let mut draft = old.clone();
            draft.units.push(unit);
            draft.derive(model, units);
            if self.board.earliest(&draft.wanted(), &mut timing) {
                let cost = cost_of(model, &draft, &timing);
                consider(&mut best, cost, before, Some(number), &draft, timing.start);
            }
            self.board.enter(old.kiln, old.programme, &old.order, &old_timing);
        }
        let Some((scalar, _, join, draft, _)) = best else { return false };
        // Nothing else counts as much as passing a latest start or the horizon.
        if !late_too && scalar >= PER_BREACH {
            return false;
        }
        if let Some(number) = join {
            self.remove(number);
        }
        self.add(draft)
    }
}
