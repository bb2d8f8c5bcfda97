//! What is left to plan, kiln by kiln as if there were no other: a bound for it.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::solve::bound::earliest_pour;
use crate::plan::solve::draft::{Unit, UnitNo};

use super::{Frame, Mask, NONE, SPAN_MIN, Value, sum};

/// Among how many kilns results are remembered: a key is 16 bits and 26 for each kiln.
const MOST_REMEMBERED: usize = 3;

/// Spreads keys over a table; nobody chooses them to collide (Fibonacci hashing; D. E. Knuth,
/// The Art of Computer Programming 3, 6.4).
#[derive(Default)]
pub(super) struct Spread(u64);

impl Hasher for Spread {
    fn finish(&self) -> u64 {
        self.0 ^ self.0 >> 29
    }

    fn write(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|&byte| self.write_u64(byte.into()));
    }

    fn write_u64(&mut self, value: u64) {
        self.0 = (self.0.rotate_left(5) ^ value).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}

type Table<V> = HashMap<u64, V, BuildHasherDefault<Spread>>;

/// Bounds for sets of flasks that are left, remembered.
pub(super) struct Rest {
    /// What each unit counts at least in each kiln, alone.
    alone: Vec<Vec<i64>>,
    /// Where the bounds of each load stand among all.
    loads: Table<(u32, u32)>,
    bounds: Vec<(i64, Min)>,
    kilns: Table<Value>,
    divided: HashMap<(u64, u64), Value, BuildHasherDefault<Spread>>,
    /// For each kiln the first that is like it.
    like: Vec<usize>,
}

impl Rest {
    pub(super) fn new(frame: &Frame<'_>, units: &[Unit], members: &[UnitNo]) -> Self {
        let model = frame.model;
        let like = (0..model.kilns.len()).map(|kiln| first_like(&frame.twin, kiln)).collect();
        let alone = (0..model.kilns.len())
            .map(|kiln| {
                members
                    .iter()
                    .map(|&unit| {
                        let flasks = units[usize::from(unit)].flasks.iter();
                        flasks.map(|&flask| least_alone(model, flask, kiln)).sum()
                    })
                    .collect()
            })
            .collect();
        Self {
            alone,
            loads: Table::default(),
            bounds: Vec::new(),
            kilns: Table::default(),
            divided: HashMap::default(),
            like,
        }
    }

    /// The least that a set costs, divided among kilns that are free from given minutes on.
    pub(super) fn of_all(&mut self, frame: &Frame<'_>, set: Mask, kilns: &[(usize, Min)]) -> Value {
        if set == 0 {
            return Value::default();
        }
        let Some((&(kiln, from), others)) = kilns.split_first() else { return NONE };
        if others.is_empty() {
            return self.of_kiln(frame, set, kiln, from);
        }
        let mut key = (0, u64::from(set));
        if kilns.len() <= MOST_REMEMBERED {
            for &(kiln, from) in kilns {
                let place =
                    (self.like[kiln] as u64) << 22 | (span(frame.model, from) / SPAN_MIN) as u64;
                key = (key.0 << 26 | key.1 >> 38, key.1 << 26 | place);
            }
            if let Some(&known) = self.divided.get(&key) {
                return known;
            }
        }
        let mut best = NONE;
        // All parts of the set, the empty one last.
        let mut part = set;
        loop {
            let here = self.of_kiln(frame, part, kiln, from);
            if here < best {
                let there = self.of_all(frame, set & !part, others);
                if there != NONE {
                    best = best.min(sum(here, there));
                }
            }
            if part == 0 {
                break;
            }
            part = (part - 1) & set;
        }
        if kilns.len() <= MOST_REMEMBERED {
            self.divided.insert(key, best);
        }
        best
    }

    /// The least that a set costs in one kiln from a minute on, other kilns out of the way.
    fn of_kiln(&mut self, frame: &Frame<'_>, set: Mask, kiln: usize, from: Min) -> Value {
        let (model, kinds) = (frame.model, &frame.kinds);
        if set == 0 {
            return Value::default();
        }
        let kiln = self.like[kiln];
        let from = span(model, from.max(kinds.first_ready(set)));
        let key = u64::from(set) << 40 | (kiln as u64) << 32 | u64::from(from as u32);
        if let Some(&known) = self.kilns.get(&key) {
            return known;
        }
        let mut best = NONE;
        // All first loads that are parts of the set.
        let mut part = if from > kinds.first_latest(set) { 0 } else { set };
        while part != 0 {
            let others = set & !part;
            if let Some(number) = kinds.of_mask(part, kiln)
                && self.least_alone(kiln, set) <= best.0
            {
                let (first, last) = self.of_load(frame, number, kiln, from);
                for at in first..last {
                    let (cost, over) = self.bounds[at as usize];
                    if cost + self.least_alone(kiln, others) > best.0 {
                        continue;
                    }
                    let free = over + model.kilns[kiln].turnaround;
                    let rest = self.of_kiln(frame, others, kiln, free);
                    if rest != NONE {
                        best = best.min(sum((cost, 1, i64::from(over)), rest));
                    }
                }
            }
            part = (part - 1) & set;
        }
        self.kilns.insert(key, best);
        best
    }

    fn least_alone(&self, kiln: usize, set: Mask) -> i64 {
        let alone = self.alone[kiln].iter().enumerate();
        alone.filter(|(n, _)| set >> n & 1 == 1).map(|(_, late)| late).sum()
    }

    /// Where costs and ends of a load in an empty kiln stand, alloys changed in no time.
    fn of_load(&mut self, frame: &Frame<'_>, number: usize, kiln: usize, from: Min) -> (u32, u32) {
        let kind = frame.kinds.kind(number);
        let from = from.max(kind.from[kiln]);
        let key = (number as u64) << 40 | (kiln as u64) << 32 | u64::from(from as u32);
        if let Some(&known) = self.loads.get(&key) {
            return known;
        }
        let first = self.bounds.len() as u32;
        self.bounds.extend(kind.alone(frame, kiln, from));
        let found = (first, self.bounds.len() as u32);
        self.loads.insert(key, found);
        found
    }
}

/// What a flask counts at least in a kiln.
fn least_alone(model: &Model, flask: FlaskNo, kiln: usize) -> i64 {
    let spec = &model.flasks[usize::from(flask)];
    let pour = spec.may_use(kiln).then(|| earliest_pour(model, flask, kiln));
    let late = pour.flatten().map_or(0, |at| spec.tardiness(at));
    let moves = spec.accepted.is_some_and(|place| place.0 != kiln);
    late + if moves { model.per_move } else { 0 }
}

/// The beginning of the span in which a kiln that is free from a minute on gets its load.
fn span(model: &Model, from: Min) -> Min {
    model.load_starts.next(from).map_or(Min::MAX / 2, |at| at - at.rem_euclid(SPAN_MIN))
}

/// The first of a chain of kilns that are alike.
fn first_like(twin: &[Option<usize>], kiln: usize) -> usize {
    twin[kiln].map_or(kiln, |other| first_like(twin, other))
}
