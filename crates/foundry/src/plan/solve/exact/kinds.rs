//! Which flasks may share a load, and what such a load is like.

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::solve::draft::{Draft, Unit, UnitNo};

use super::{Frame, MOST_UNITS};

/// A set of flasks, by their numbers among the units.
pub(super) type Mask = u16;

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
    kilns: u64,
    pub(super) programme: u16,
    /// Earliest start by kiln.
    pub(super) from: Vec<Min>,
    pub(super) latest: Min,
    /// Hottest first, at one temperature alloy by alloy.
    pub(super) pours: Vec<PourSpec>,
    /// Flasks poured at one temperature from one alloy: the first of their pours and who they
    /// are, with weight and the latest start of a pour in time.
    alike: Vec<(usize, Vec<Member>)>,
    /// The orders in which pours of one temperature and different alloys may follow each other;
    /// none when there are no such pours, or too many orders.
    orders: Vec<Vec<usize>>,
}

#[derive(Debug, Clone, Copy)]
struct Member {
    flask: FlaskNo,
    in_time: Min,
    weight: i64,
}

impl Kind {
    fn new(model: &Model, units: &[Unit], members: &[UnitNo], mask: Mask) -> Self {
        let mut members: Vec<FlaskNo> = of_mask(members, mask)
            .flat_map(|unit| units[usize::from(unit)].flasks.iter().copied())
            .collect();
        let spec = |flask: FlaskNo| &model.flasks[usize::from(flask)];
        // Of one temperature and alloy what is due first comes first.
        members.sort_by_key(|&flask| {
            let spec = spec(flask);
            (-spec.temp_c, spec.alloy, spec.in_time, -spec.weight)
        });
        let mut kind = Self {
            mask,
            kilns: 0,
            programme: 0,
            from: model.kilns.iter().map(|kiln| kiln.available).collect(),
            latest: Min::MAX,
            pours: Vec::new(),
            alike: Vec::new(),
            orders: Vec::new(),
        };
        for (place, &flask) in members.iter().enumerate() {
            let spec = spec(flask);
            kind.programme = kind.programme.max(spec.programme);
            kind.latest = kind.latest.min(spec.latest);
            for (kiln, from) in kind.from.iter_mut().enumerate() {
                let banned = spec.kiln_from.get(kiln).copied().unwrap_or(0);
                *from = (*from).max(spec.ready).max(banned);
            }
            let pour = PourSpec { temp_c: spec.temp_c, alloy: spec.alloy };
            let member = Member { flask, in_time: spec.in_time, weight: spec.weight };
            match kind.alike.last_mut() {
                Some((_, members)) if kind.pours.last() == Some(&pour) => members.push(member),
                _ => kind.alike.push((place, vec![member])),
            }
            kind.pours.push(pour);
        }
        kind.orders = orders(&kind.pours);
        kind
    }

    /// The least tardiness and the earliest end of such a load alone from a minute on, each in
    /// the order of pours that is best for it.
    pub(super) fn alone(&self, frame: &Frame<'_>, kiln: usize, from: Min) -> Option<(i64, Min)> {
        if self.orders.is_empty() {
            return self.alone_in(frame, kiln, from, &[]);
        }
        self.orders
            .iter()
            .filter_map(|order| self.alone_in(frame, kiln, from, order))
            .reduce(|a, b| (a.0.min(b.0), a.1.min(b.1)))
    }

    /// The same with pours in an order.
    fn alone_in(
        &self,
        frame: &Frame<'_>,
        kiln: usize,
        mut from: Min,
        order: &[usize],
    ) -> Option<(i64, Min)> {
        let mut pours = [Min::MIN; MOST_UNITS];
        let pours = &mut pours[..self.pours.len()];
        loop {
            (from, _) = self.settle(frame, kiln, from, pours)?;
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
        Some((self.tardiness(pours), last + frame.model.pour_min))
    }

    /// Moves a load of this kind and its pours later until they keep the rules among themselves
    /// and beside loads that stay, but for ramps: its earliest start from a minute on, and whether
    /// a pour moved; none when there is no time for them.
    pub(super) fn settle(
        &self,
        frame: &Frame<'_>,
        kiln: usize,
        from: Min,
        pours: &mut [Min],
    ) -> Option<(Min, bool)> {
        let model = frame.model;
        let burn = model.load_min + model.programmes[usize::from(self.programme)].minutes;
        let mut start = from.max(self.from[kiln]);
        let mut moved = false;
        loop {
            start = model.load_starts.next(start)?;
            if start > self.latest {
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
            .map(|(first, members)| match &members[..] {
                [one] => one.weight * i64::from((pours[*first] - one.in_time).max(0)),
                several => least(several, &pours[*first..first + several.len()]),
            })
            .sum()
    }

    /// Each pour with the flask that is poured then, so that tardiness is least.
    pub(super) fn labelled(&self, pours: &[Min]) -> Vec<(Min, FlaskNo)> {
        let mut labelled = Vec::with_capacity(pours.len());
        for (first, members) in &self.alike {
            let mut left = members.clone();
            let at = &pours[*first..first + members.len()];
            for (place, &minute) in at.iter().enumerate() {
                let total = |first: usize| {
                    let mut others = left.clone();
                    let one = others.remove(first);
                    late(&one, minute) + least(&others, &at[place + 1..])
                };
                let best = (0..left.len()).min_by_key(|&n| total(n)).unwrap_or(0);
                labelled.push((minute, left.remove(best).flask));
            }
        }
        labelled
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

fn late(member: &Member, minute: Min) -> i64 {
    member.weight * i64::from((minute - member.in_time).max(0))
}

/// The least tardiness of some flasks over as many rising pours, whoever is poured when.
fn least(members: &[Member], pours: &[Min]) -> i64 {
    let (Some(&first), Some(&last)) = (pours.first(), pours.last()) else { return 0 };
    if members.iter().all(|one| last <= one.in_time) {
        return 0;
    }
    if members.iter().all(|one| first >= one.in_time) {
        // All are late whenever they are poured: the heaviest first.
        let mut weights: Vec<i64> = members.iter().map(|one| one.weight).collect();
        weights.sort_unstable_by(|a, b| b.cmp(a));
        let moved: i64 =
            weights.iter().zip(pours).map(|(weight, &at)| weight * i64::from(at)).sum();
        let due: i64 = members.iter().map(|one| one.weight * i64::from(one.in_time)).sum();
        return moved - due;
    }
    // By sets: the first pours go to each set at least cost.
    let mut best = vec![i64::MAX; 1 << members.len()];
    best[0] = 0;
    for set in 0..1_usize << members.len() {
        let Some(&minute) = pours.get(set.count_ones() as usize) else { break };
        for (n, member) in members.iter().enumerate() {
            if set >> n & 1 == 0 {
                let with = set | 1 << n;
                best[with] = best[with].min(best[set] + late(member, minute));
            }
        }
    }
    best[(1 << members.len()) - 1]
}

/// All kinds of loads.
#[derive(Debug)]
pub(super) struct Kinds {
    all: Vec<Kind>,
    /// Their numbers by set.
    by_mask: Vec<Option<usize>>,
    members: Vec<UnitNo>,
    ready: Vec<Min>,
    latest: Vec<Min>,
}

/// The members of a set.
fn of_mask(members: &[UnitNo], mask: Mask) -> impl Iterator<Item = UnitNo> {
    members.iter().enumerate().filter(move |(n, _)| mask >> n & 1 == 1).map(|(_, unit)| *unit)
}

impl Kinds {
    pub(super) fn new(
        model: &Model,
        floors: &mut Floors,
        units: &[Unit],
        members: &[UnitNo],
    ) -> Self {
        let sets = 1_usize << members.len();
        let (mut all, mut by_mask) = (Vec::new(), vec![None; sets]);
        // The kilns each set may go into, as bits: no more than its parts may.
        let mut kilns = vec![u64::MAX; sets];
        for mask in 1..sets {
            let without_last = mask & (mask - 1);
            let without_first = mask & !(1 << mask.ilog2());
            let own = of_mask(members, mask as Mask).collect();
            let mut draft = Draft { units: own, ..Draft::default() };
            let mut may = kilns[without_last] & kilns[without_first];
            for kiln in 0..model.kilns.len() {
                if may >> kiln & 1 == 1 {
                    draft.kiln = kiln;
                    draft.derive(model, units);
                    may &= !(u64::from(!draft.possible(model, floors, units)) << kiln);
                }
            }
            may &= (1 << model.kilns.len()) - 1;
            kilns[mask] = may;
            if may != 0 {
                by_mask[mask] = Some(all.len());
                all.push(Kind { kilns: may, ..Kind::new(model, units, members, mask as Mask) });
            }
        }
        let unit = |&unit: &UnitNo| &units[usize::from(unit)];
        let ready = members.iter().map(|one| unit(one).ready).collect();
        let latest = members.iter().map(|one| unit(one).latest).collect();
        Self { all, by_mask, members: members.to_vec(), ready, latest }
    }

    /// The units of a set.
    pub(super) fn members(&self, mask: Mask) -> impl Iterator<Item = UnitNo> {
        of_mask(&self.members, mask)
    }

    pub(super) fn kind(&self, number: usize) -> &Kind {
        &self.all[number]
    }

    /// The kind of a set, if it may go into a kiln.
    pub(super) fn of_mask(&self, mask: Mask, kiln: usize) -> Option<usize> {
        self.by_mask[usize::from(mask)].filter(|&number| self.all[number].kilns >> kiln & 1 == 1)
    }

    /// When the first of some flasks is ready.
    pub(super) fn first_ready(&self, of: Mask) -> Min {
        least_of(&self.ready, of).unwrap_or(Min::MIN)
    }

    /// The first of the latest starts of some flasks.
    pub(super) fn first_latest(&self, of: Mask) -> Min {
        least_of(&self.latest, of).unwrap_or(Min::MAX)
    }
}

fn least_of(times: &[Min], of: Mask) -> Option<Min> {
    let times = times.iter().enumerate();
    times.filter(|(n, _)| of >> n & 1 == 1).map(|(_, at)| *at).min()
}
