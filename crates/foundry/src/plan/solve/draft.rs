//! Loads while they are being thought about: members, kiln, and what follows from them.

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::{FlaskNo, Model};

use super::board::Wanted;

/// Number of a unit.
pub(super) type UnitNo = u16;

/// A kiln and the start of a load in it.
pub(super) type Place = (usize, Min);

/// Flasks that go into the same load whatever happens: mostly one alone.
#[derive(Debug, Clone)]
pub(super) struct Unit {
    pub(super) flasks: Vec<FlaskNo>,
    /// Kilns every member may go into, as bits.
    pub(super) kilns: u64,
    pub(super) ready: Min,
    pub(super) latest: Min,
    /// What its members' tardiness counts at least.
    pub(super) least: i64,
    /// Families of the members, as bits, and those they may not be with.
    pub(super) families: u64,
    pub(super) clashes: u64,
    /// Where it is pinned: it stays in the load it is in.
    pub(super) place: Option<Place>,
}

impl Unit {
    pub(super) fn new(model: &Model, flasks: Vec<FlaskNo>) -> Self {
        let mut unit = Self {
            flasks,
            kilns: u64::MAX,
            ready: 0,
            latest: Min::MAX,
            least: 0,
            families: 0,
            clashes: 0,
            place: None,
        };
        for &flask in &unit.flasks {
            unit.least += super::bound::least_tardiness(model, flask);
            let flask = &model.flasks[usize::from(flask)];
            unit.kilns &= flask.kilns;
            unit.ready = unit.ready.max(flask.ready);
            unit.latest = unit.latest.min(flask.latest);
            unit.families |= 1 << flask.family;
            unit.clashes |= model.clashes[usize::from(flask.family)];
        }
        unit
    }
}

/// A load without its time.
#[derive(Debug, Default)]
pub(super) struct Draft {
    pub(super) kiln: usize,
    pub(super) units: Vec<UnitNo>,
    /// Its start when that is settled.
    pub(super) exactly: Option<Min>,
    /// In the kiln already: members and time are past choosing.
    pub(super) under_way: bool,
    /// Not to be started earlier, although it could be.
    pub(super) delay: Min,
    /// Started so many minutes later than could be, where its pours stay when they are: its ramps
    /// are then out of the way of others.
    pub(super) wait: Min,
    /// Its members in the order in which they are poured.
    pub(super) order: Vec<FlaskNo>,
    /// For each of them a minute before which it is not poured, so that another
    /// load's pour comes first; empty when nothing is held back.
    pub(super) held: Vec<Min>,
    /// Numbers of the members' diameters, ascending.
    pub(super) sizes: Vec<u16>,
    pub(super) programme: u16,
    pub(super) from: Min,
    pub(super) latest: Min,
    /// What its members' tardiness counts at least.
    pub(super) least: i64,
    pub(super) families: u64,
    pub(super) clashes: u64,
}

impl Clone for Draft {
    fn clone(&self) -> Self {
        let mut copy = Self::default();
        copy.clone_from(self);
        copy
    }

    /// Copies into the memory that is there.
    fn clone_from(&mut self, source: &Self) {
        let Self {
            kiln,
            units,
            exactly,
            under_way,
            delay,
            wait,
            order,
            held,
            sizes,
            programme,
            from,
            latest,
            least,
            families,
            clashes,
        } = source;
        self.units.clone_from(units);
        self.order.clone_from(order);
        self.held.clone_from(held);
        self.sizes.clone_from(sizes);
        self.kiln = *kiln;
        self.exactly = *exactly;
        self.under_way = *under_way;
        self.delay = *delay;
        self.wait = *wait;
        self.programme = *programme;
        self.from = *from;
        self.latest = *latest;
        self.least = *least;
        self.families = *families;
        self.clashes = *clashes;
    }
}

impl Draft {
    /// A load of one unit.
    pub(super) fn new(model: &Model, units: &[Unit], kiln: usize, unit: UnitNo) -> Self {
        let mut draft = Self { kiln, units: vec![unit], ..Self::default() };
        draft.derive(model, units);
        draft
    }

    /// Works out what follows from the kiln and the members.
    pub(super) fn derive(&mut self, model: &Model, units: &[Unit]) {
        self.sizes.clear();
        self.held.clear();
        let mut members = 0;
        self.programme = 0;
        self.from = self.delay.max(model.kilns[self.kiln].available);
        self.latest = Min::MAX;
        self.least = 0;
        self.families = 0;
        self.clashes = 0;
        for &number in &self.units {
            let unit = &units[usize::from(number)];
            members += unit.flasks.len();
            self.from = self.from.max(unit.ready);
            self.latest = self.latest.min(unit.latest);
            self.least += unit.least;
            self.families |= unit.families;
            self.clashes |= unit.clashes;
            for &flask in &unit.flasks {
                let flask = &model.flasks[usize::from(flask)];
                self.sizes.push(flask.size);
                self.programme = self.programme.max(flask.programme);
                self.from = self.from.max(flask.kiln_from.get(self.kiln).copied().unwrap_or(0));
            }
        }
        self.sizes.sort_unstable();
        self.order.retain(|flask| {
            self.units.iter().any(|&unit| units[usize::from(unit)].flasks.contains(flask))
        });
        if self.order.is_empty() {
            for &unit in &self.units {
                self.order.extend_from_slice(&units[usize::from(unit)].flasks);
            }
            sort_pours(model, &mut self.order);
        } else if self.order.len() < members {
            for &unit in &self.units {
                for &flask in &units[usize::from(unit)].flasks {
                    if !self.order.contains(&flask) {
                        insert_pour(model, &mut self.order, flask);
                    }
                }
            }
        }
    }

    /// Whether its time is past choosing: pinned, or in the kiln already.
    pub(super) const fn is_settled(&self) -> bool {
        self.under_way || self.exactly.is_some()
    }

    /// The flasks of one casting temperature around a place in the order of pours.
    pub(super) fn equally_hot(&self, model: &Model, place: usize) -> std::ops::Range<usize> {
        let temp_c = |flask: &FlaskNo| model.flasks[usize::from(*flask)].temp_c;
        let of = self.order.get(place).map(temp_c);
        let begin = self.order.iter().take_while(|&f| Some(temp_c(f)) > of).count();
        let end = self.order.iter().take_while(|&f| Some(temp_c(f)) >= of).count();
        begin..end
    }

    /// Whether families and start windows let a unit join.
    pub(super) fn is_company(&self, unit: &Unit) -> bool {
        self.families & unit.clashes == 0
            && self.from.max(unit.ready) <= self.latest.min(unit.latest)
    }

    /// Whether a unit may join: families, kiln, start window, span of pours, floor.
    pub(super) fn takes(
        &self,
        model: &Model,
        floors: &mut Floors,
        unit: &Unit,
        sizes: &mut Vec<u16>,
    ) -> bool {
        if self.under_way
            || unit.kilns >> self.kiln & 1 == 0
            || !self.is_company(unit)
            || self.exactly.is_some_and(|start| start < unit.ready || start > unit.latest)
        {
            return false;
        }
        let temps = || {
            let members = self.order.iter().chain(&unit.flasks);
            members.map(|&flask| model.flasks[usize::from(flask)].temp_c)
        };
        let hottest = temps().max().unwrap_or(0);
        let coldest = temps().min().unwrap_or(0);
        let pours = (self.order.len() + unit.flasks.len()) as Min - 1;
        let shortest = pours * model.pour_min + model.cooling(self.kiln, hottest, coldest);
        if shortest > model.span_min {
            return false;
        }
        sizes.clear();
        sizes.extend_from_slice(&self.sizes);
        sizes.extend(unit.flasks.iter().map(|&flask| model.flasks[usize::from(flask)].size));
        sizes.sort_unstable();
        floors.fit(model.kilns[self.kiln].floor, sizes)
    }

    /// Whether the load could run, everything else out of the way: kiln,
    /// families, start window, span of pours, floor.
    pub(super) fn possible(&self, model: &Model, floors: &mut Floors, units: &[Unit]) -> bool {
        let in_kiln = |&unit: &UnitNo| units[usize::from(unit)].kilns >> self.kiln & 1 == 1;
        if self.families & self.clashes != 0
            || self.exactly.unwrap_or(self.from) > self.latest
            || self.exactly.is_some_and(|start| start < self.from)
            || !self.units.iter().all(in_kiln)
        {
            return false;
        }
        let temp_c = |flask: &FlaskNo| model.flasks[usize::from(*flask)].temp_c;
        if let (Some(hottest), Some(coldest)) = (self.order.first(), self.order.last()) {
            let cooling = model.cooling(self.kiln, temp_c(hottest), temp_c(coldest));
            if (self.order.len() as Min - 1) * model.pour_min + cooling > model.span_min {
                return false;
            }
        }
        floors.fit(model.kilns[self.kiln].floor, &self.sizes)
    }

    /// What to ask the board for.
    pub(super) fn wanted(&self) -> Wanted<'_> {
        Wanted {
            kiln: self.kiln,
            programme: self.programme,
            from: self.from,
            wait: self.wait,
            latest: self.latest,
            exactly: self.exactly,
            under_way: self.under_way,
            pours_from: Min::MIN,
            order: &self.order,
            held: &self.held,
        }
    }
}

/// Puts a flask into an order of pours: beside one of its alloy, or after all
/// that are cast as hot as it is.
fn insert_pour(model: &Model, order: &mut Vec<FlaskNo>, flask: FlaskNo) {
    let spec = |flask: FlaskNo| &model.flasks[usize::from(flask)];
    let new = spec(flask);
    let begin = order.iter().take_while(|&&one| spec(one).temp_c > new.temp_c).count();
    let end = order.iter().take_while(|&&one| spec(one).temp_c >= new.temp_c).count();
    let same = (begin..end).rev().find(|&place| spec(order[place]).alloy == new.alloy);
    let place = match same {
        Some(mut place) => {
            // Of one alloy what is due first comes first.
            while place > begin
                && spec(order[place]).in_time > new.in_time
                && spec(order[place - 1]).alloy == new.alloy
            {
                place -= 1;
            }
            if spec(order[place]).in_time > new.in_time { place } else { place + 1 }
        }
        None if begin > 0 && spec(order[begin - 1]).alloy == new.alloy => begin,
        None => end,
    };
    order.insert(place, flask);
}

/// Hottest first; at one temperature alloy by alloy, beginning with the alloy
/// in the crucible and ending with the one poured next; of one alloy what is
/// due first.
pub(super) fn sort_pours(model: &Model, order: &mut [FlaskNo]) {
    let spec = |flask: FlaskNo| &model.flasks[usize::from(flask)];
    order.sort_unstable_by_key(|&flask| {
        let flask_spec = spec(flask);
        (-flask_spec.temp_c, flask_spec.alloy, flask_spec.in_time, flask)
    });
    let mut begin = 0;
    let mut molten: Option<u16> = None;
    while begin < order.len() {
        let temp_c = spec(order[begin]).temp_c;
        let end = begin + order[begin..].iter().take_while(|&&f| spec(f).temp_c == temp_c).count();
        let (done, next_alloys) = order.split_at_mut(end);
        let next_temp_c = next_alloys.first().map(|&flask| spec(flask).temp_c);
        let wanted_next = |alloy: u16| {
            next_alloys
                .iter()
                .take_while(|&&flask| Some(spec(flask).temp_c) == next_temp_c)
                .any(|&flask| spec(flask).alloy == alloy)
        };
        let group = &mut done[begin..];
        // Stable, so that flasks of one alloy stay together in order of date.
        group.sort_by_key(|&flask| {
            let alloy = spec(flask).alloy;
            match molten {
                Some(now) if now == alloy => 0,
                _ if wanted_next(alloy) => 2,
                _ => 1,
            }
        });
        molten = group.last().map(|&flask| spec(flask).alloy);
        begin = end;
    }
}
