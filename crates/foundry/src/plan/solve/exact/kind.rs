//! What a load of some flasks is like: its rules, its times alone, what it costs.

use crate::plan::calendar::Min;
use crate::plan::model::{FlaskNo, Model};

use super::extra::Extra;
use super::late::{self, Member};
use super::{Frame, MOST_FLASKS, Mask, Place, SPAN_MIN};

/// A pour of a load: whose it is does not matter to times, only what it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PourSpec {
    pub(super) temp_c: i32,
    pub(super) alloy: u16,
}

/// A set of flasks that may share a load.
#[derive(Debug, Clone)]
pub(super) struct Kind {
    pub(super) mask: Mask,
    /// The kilns it may go into, as bits.
    pub(super) kilns: u64,
    pub(super) programme: u16,
    /// Earliest start by kiln.
    pub(super) from: Vec<Min>,
    pub(super) latest: Min,
    /// Hottest first, at one temperature alloy by alloy.
    pub(super) pours: Vec<PourSpec>,
    pub(super) extra: Extra,
    /// Some of the flasks are pinned: the load starts exactly then.
    pub(super) pinned: Option<Min>,
    /// Flasks poured at one temperature from one alloy: the first of their pours and who they are.
    alike: Vec<(usize, Vec<Member>)>,
    /// The orders in which pours of one temperature and different alloys may follow each other;
    /// none when there are no such pours, or too many orders.
    orders: Vec<Vec<usize>>,
}

impl Kind {
    /// A load of some flasks that may go into these kilns, given as bits, and are pinned there.
    pub(super) fn new(
        model: &Model,
        mut members: Vec<FlaskNo>,
        mask: Mask,
        kilns: u64,
        place: Option<Place>,
    ) -> Self {
        let spec = |flask: FlaskNo| &model.flasks[usize::from(flask)];
        // Of one temperature and alloy what is due first comes first.
        members.sort_by_key(|&flask| {
            let spec = spec(flask);
            (-spec.temp_c, spec.alloy, spec.in_time, -spec.weight)
        });
        let programme = members.iter().map(|&flask| spec(flask).programme).max().unwrap_or(0);
        // In the kiln in which it takes least.
        let may = (0..model.kilns.len()).filter(|kiln| kilns >> kiln & 1 == 1);
        let burn = may.map(|kiln| model.burn(kiln, programme).minutes).min().unwrap_or(0);
        let pinned = place.map(|place| place.1);
        let mut kind = Self {
            mask,
            kilns,
            programme,
            from: model.kilns.iter().map(|kiln| kiln.available).collect(),
            // Whoever starts later ends after the horizon.
            latest: pinned.unwrap_or(Min::MAX).min(model.horizon - model.load_min - burn),
            pours: Vec::new(),
            extra: Extra::new(model, &members, programme),
            pinned,
            alike: Vec::new(),
            orders: Vec::new(),
        };
        for (number, &flask) in members.iter().enumerate() {
            let spec = spec(flask);
            kind.latest = kind.latest.min(spec.latest);
            for (kiln, from) in kind.from.iter_mut().enumerate() {
                let banned = spec.kiln_from.get(kiln).copied().unwrap_or(0);
                *from = (*from).max(spec.ready).max(banned).max(pinned.unwrap_or(0));
            }
            let pour = PourSpec { temp_c: spec.temp_c, alloy: spec.alloy };
            let member = Member::new(flask, spec);
            match kind.alike.last_mut() {
                Some((_, members)) if kind.pours.last() == Some(&pour) => members.push(member),
                _ => kind.alike.push((number, vec![member])),
            }
            kind.pours.push(pour);
        }
        kind.orders = orders(&kind.pours);
        kind
    }

    /// Bounds of such a load alone in a kiln from a minute on: what it costs at least and when it
    /// ends at the earliest, for a start at each accepted place and for any other.
    pub(super) fn alone(&self, frame: &Frame<'_>, kiln: usize, from: Min) -> Vec<(i64, Min)> {
        let model = frame.model;
        let mut ways = Vec::new();
        let mut begin = from;
        // Towards cheaper hours span by span: of each the least of everything.
        while let Some((late, start, over)) = self.earliest(frame, kiln, begin, self.latest) {
            let (least, at) = self.extra.least_moved(model, kiln, start, self.latest);
            begin = at.min(start + SPAN_MIN);
            let extra = if at > start {
                self.extra.least_moved(model, kiln, start, begin - 1).0
            } else {
                least
            };
            if ways.iter().all(|way: &(i64, Min)| late + extra < way.0) {
                ways.push((late + extra, over));
            }
            if at <= start {
                break;
            }
        }
        for kept in self.extra.kept_from(kiln, from) {
            if let Some((late, _, over)) = self.earliest(frame, kiln, kept, kept.min(self.latest)) {
                ways.push((late + self.extra.at(model, kiln, kept), over));
            }
        }
        ways
    }

    /// The least tardiness, the earliest start and the earliest end from a minute on, each in the
    /// order of pours that is best for it; none when it would have to start after another minute.
    fn earliest(
        &self,
        frame: &Frame<'_>,
        kiln: usize,
        from: Min,
        until: Min,
    ) -> Option<(i64, Min, Min)> {
        if self.orders.is_empty() {
            return self.earliest_in(frame, kiln, from, until, &[]);
        }
        self.orders
            .iter()
            .filter_map(|order| self.earliest_in(frame, kiln, from, until, order))
            .reduce(|a, b| (a.0.min(b.0), a.1.min(b.1), a.2.min(b.2)))
    }

    /// The same with pours in an order.
    fn earliest_in(
        &self,
        frame: &Frame<'_>,
        kiln: usize,
        from: Min,
        until: Min,
        order: &[usize],
    ) -> Option<(i64, Min, Min)> {
        let mut pours = [Min::MIN; MOST_FLASKS];
        let pours = &mut pours[..self.pours.len()];
        let mut start = from;
        loop {
            (start, _) = self.settle(frame, kiln, start, until, pours)?;
            let mut moved = false;
            for two in order.windows(2) {
                let alloys = (self.pours[two[0]].alloy, self.pours[two[1]].alloy);
                let least = pours[two[0]] + frame.model.pour_gap(alloys.0, alloys.1);
                moved |= pours[two[1]] < least;
                pours[two[1]] = pours[two[1]].max(least);
            }
            if !moved {
                break;
            }
        }
        let last = pours.iter().copied().max()?;
        Some((self.tardiness(pours), start, last + frame.model.pour_min))
    }

    /// Moves a load of this kind and its pours later until they keep the rules among themselves
    /// and beside loads that stay, but for ramps: its earliest start from a minute on, and whether
    /// a pour moved; none when there is no time for them with a start until another minute.
    pub(super) fn settle(
        &self,
        frame: &Frame<'_>,
        kiln: usize,
        from: Min,
        until: Min,
        pours: &mut [Min],
    ) -> Option<(Min, bool)> {
        let model = frame.model;
        let burn = model.load_min + model.burn(kiln, self.programme).minutes;
        let mut start = from.max(self.from[kiln]);
        let mut moved = false;
        loop {
            start = model.load_starts.next(start)?;
            if start > until {
                return None;
            }
            let mut again = false;
            for place in 0..pours.len() {
                let pour = self.pours[place];
                let mut at = pours[place].max(start + burn).max(model.now);
                // All that are hotter, and those of the same alloy before it, come first.
                for (&other, &other_at) in self.pours.iter().zip(&pours[..place]) {
                    if other == pour {
                        at = at.max(other_at + model.pour_min);
                    } else if other.temp_c > pour.temp_c {
                        let cooled =
                            model.pour_min + model.cooling(kiln, other.temp_c, pour.temp_c);
                        at = at.max(other_at + cooled.max(model.pour_gap(other.alloy, pour.alloy)));
                    }
                }
                at = frame.furnace_from(pour.alloy, at)?;
                if at > model.horizon - model.pour_min {
                    return None;
                }
                again |= at != pours[place];
                pours[place] = at;
            }
            let first = pours.iter().copied().min()?;
            let last = pours.iter().copied().max()?;
            for pour in pours.iter_mut().filter(|pour| **pour < last - model.span_min) {
                *pour = last - model.span_min;
                again = true;
            }
            if first > start + burn + model.hold_min {
                start = first - model.hold_min - burn;
                again = true;
            }
            let over = last + model.pour_min;
            let in_the_way = |busy: &&(Min, Min)| start < busy.1 && busy.0 < over;
            if let Some(busy) = frame.busy[kiln].iter().find(in_the_way) {
                start = busy.1;
                again = true;
            }
            if !again {
                return Some((start, moved));
            }
            moved = true;
        }
    }

    /// Least weighted tardiness of the members when their pours start at these minutes.
    pub(super) fn tardiness(&self, pours: &[Min]) -> i64 {
        self.alike
            .iter()
            .map(|(first, members)| late::least(members, &pours[*first..first + members.len()]))
            .sum()
    }

    /// Each pour with the flask that is poured then, so that tardiness is least.
    pub(super) fn labelled(&self, pours: &[Min]) -> Vec<(Min, FlaskNo)> {
        let alike = self.alike.iter();
        alike
            .flat_map(|(first, members)| {
                late::labelled(members, &pours[*first..first + members.len()])
            })
            .collect()
    }
}

/// All orders of pours, hottest first, in which those of one temperature and alloy keep theirs;
/// none when there is only one, or too many.
fn orders(pours: &[PourSpec]) -> Vec<Vec<usize>> {
    /// The bound is then taken without them.
    const MOST_ORDERS: usize = 12;
    let mut orders = vec![Vec::new()];
    for _ in 0..pours.len() {
        let mut longer = Vec::new();
        for order in &orders {
            let mut tried: Vec<PourSpec> = Vec::new();
            for (next, pour) in pours.iter().enumerate() {
                let hotter = tried.first().is_some_and(|first| first.temp_c > pour.temp_c);
                if order.contains(&next) || tried.contains(pour) || hotter {
                    continue;
                }
                tried.push(*pour);
                let mut with = order.clone();
                with.push(next);
                longer.push(with);
            }
        }
        orders = longer;
        if orders.len() > MOST_ORDERS {
            return Vec::new();
        }
    }
    if orders.len() < 2 { Vec::new() } else { orders }
}

impl Frame<'_> {
    /// The first minute from this one on at which an alloy can be poured beside loads that stay.
    fn furnace_from(&self, alloy: u16, from: Min) -> Option<Min> {
        let model = self.model;
        let mut at = from;
        // Pours that stay keep apart among themselves: of those around a minute the nearest count.
        let mut next = self.furnace.partition_point(|pour| pour.0 < from);
        next = next.saturating_sub(1);
        loop {
            at = model.pour_starts.next(at)?;
            let meets = |&&(other, of): &&(Min, u16)| {
                at < other + model.pour_gap(of, alloy) && other < at + model.pour_gap(alloy, of)
            };
            let near = self.furnace[next..].iter().take(3).find(meets);
            match near {
                Some(&(other, of)) => at = other + model.pour_gap(of, alloy),
                None => return Some(at),
            }
            next = self.furnace.partition_point(|pour| pour.0 < at).saturating_sub(1);
        }
    }
}
