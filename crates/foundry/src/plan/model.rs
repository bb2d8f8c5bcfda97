//! A problem in numbers instead of names, as the solver reads it.

use std::collections::HashMap;

use super::calendar::{Min, Starts};
use super::floor::Floors;
use super::problem::{Problem, Programme, SegmentKind};

/// How far past the horizon the search may go while it looks for a better place.
const BEYOND_MIN: i64 = 8 * 7 * 1440;

/// A flask's number, in the order of the problem.
pub(super) type FlaskNo = u16;

/// A problem in numbers.
#[derive(Debug, Clone)]
pub(super) struct Model {
    pub(super) horizon: Min,
    /// Nothing new begins earlier.
    pub(super) now: Min,
    pub(super) load_min: Min,
    pub(super) pour_min: Min,
    pub(super) change_min: Min,
    pub(super) hold_min: Min,
    pub(super) span_min: Min,
    pub(super) ramp_limit: usize,
    pub(super) load_starts: Starts,
    pub(super) pour_starts: Starts,
    pub(super) kilns: Vec<KilnSpec>,
    /// How many programmes there are. They are numbered so that the programme of a load is the
    /// greatest of its members'.
    programmes: usize,
    /// The programmes as each kiln runs them, kiln by kiln.
    burns: Vec<Burn>,
    /// For each of them the least minutes in its kiln of it and all greater ones.
    least_burns: Vec<Min>,
    /// For each family those it may not share a load with, as bits.
    pub(super) clashes: Vec<u64>,
    pub(super) flasks: Vec<FlaskSpec>,
    /// Weighted minutes that moving one flask away from the accepted plan counts.
    pub(super) per_move: i64,
    /// Hours of the week in which heating is dear, and what an hour of ramp in them counts.
    pub(super) dear_hours: Vec<(Min, Min, i64)>,
}

/// A kiln.
#[derive(Debug, Clone)]
pub(super) struct KilnSpec {
    /// Which of the different floors it has.
    pub(super) floor: usize,
    pub(super) cool_per_100c: Min,
    pub(super) turnaround: Min,
    pub(super) available: Min,
    /// When it is out of use, in order.
    pub(super) out_of_use: Vec<(Min, Min)>,
}

/// A programme as a kiln runs it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Burn {
    pub(super) minutes: Min,
    /// Ramps, from the start of the programme.
    pub(super) ramps: Vec<(Min, Min)>,
}

/// A flask.
#[derive(Debug, Clone)]
pub(super) struct FlaskSpec {
    /// Number of its diameter, from the largest.
    pub(super) size: u16,
    /// The kilns it may go into by height, floor and decisions, as bits.
    pub(super) kilns: u64,
    /// Earliest start in each kiln; empty when there is no such decision.
    pub(super) kiln_from: Vec<Min>,
    pub(super) family: u8,
    pub(super) programme: u16,
    pub(super) ready: Min,
    pub(super) latest: Min,
    pub(super) temp_c: i32,
    pub(super) alloy: u16,
    /// Latest start of a pour that is in time.
    pub(super) in_time: Min,
    pub(super) weight: i64,
    /// A later start counts so much, for it has to be wetted again.
    pub(super) rewet: Option<(Min, i64)>,
    /// Kiln and start of its load in the accepted plan.
    pub(super) accepted: Option<(usize, Min)>,
}

impl FlaskSpec {
    /// Weighted tardiness of a pour that starts at this minute.
    pub(super) fn tardiness(&self, pour_start: Min) -> i64 {
        self.weight * i64::from((pour_start - self.in_time).max(0))
    }

    pub(super) fn may_use(&self, kiln: usize) -> bool {
        self.kilns >> kiln & 1 == 1
    }
}

impl Model {
    /// Reads a problem that has no faults.
    pub(super) fn new(problem: &Problem) -> (Self, Floors) {
        let decisions = &problem.decisions;
        let until = min(problem.horizon_min + BEYOND_MIN);
        let (floors_mm, floor_of) = distinct(
            problem.kilns.iter().map(|kiln| (kiln.width_mm, kiln.depth_mm)).collect::<Vec<_>>(),
        );
        let mut diameters_mm: Vec<f64> = problem.flasks.iter().map(|f| f.diameter_mm).collect();
        diameters_mm.sort_by(|a, b| b.total_cmp(a));
        diameters_mm.dedup();
        let mut floors = Floors::new(&floors_mm, diameters_mm.clone(), problem.clearance);
        let kilns = kilns(problem, &floor_of);
        let (programmes, programme_no) = programmes(problem);
        let burns = burns(problem, &programmes);
        let (_, alloy_no) =
            distinct(problem.flasks.iter().map(|flask| flask.alloy.as_str()).collect::<Vec<_>>());
        let family_no: HashMap<&str, u8> =
            problem.families.iter().map(|family| family.id.as_str()).zip(0..).collect();
        let mut clashes = vec![0; problem.families.len()];
        for [a, b] in &problem.incompatible {
            let (a, b) = (family_no[a.as_str()], family_no[b.as_str()]);
            clashes[usize::from(a)] |= 1 << b;
            clashes[usize::from(b)] |= 1 << a;
        }
        let mut flasks = Vec::with_capacity(problem.flasks.len());
        for (flask, alloy) in problem.flasks.iter().zip(alloy_no) {
            let size = diameters_mm.partition_point(|&d| d > flask.diameter_mm) as u16;
            let mut allowed = 0;
            for (number, kiln) in problem.kilns.iter().enumerate() {
                let low_enough = flask.height_mm + problem.clearance.top_mm <= kiln.height_mm;
                let banned = decisions.bans.iter().any(|ban| {
                    ban.kiln == kiln.id
                        && ban.until_min.is_none()
                        && ban.flask.as_ref().is_none_or(|id| *id == flask.id)
                });
                if low_enough && !banned && floors.fit(kilns[number].floor, &[size]) {
                    allowed |= 1 << number;
                }
            }
            let rewet = decisions.rewet.iter().find(|one| one.flask == flask.id);
            flasks.push(FlaskSpec {
                size,
                kilns: allowed,
                kiln_from: kiln_from(problem, &flask.id),
                family: family_no[flask.family.as_str()],
                programme: programme_no[&(flask.family.as_str(), flask.size_class.as_str())],
                ready: min(flask.ready_min.max(decisions.not_before_min)),
                latest: min(rewet
                    .map(|one| one.until_min)
                    .or(flask.latest_start_min)
                    .unwrap_or(i64::from(until))),
                temp_c: flask.cast_temp_c as i32,
                alloy: alloy as u16,
                in_time: min(flask.due_min - flask.lead_min - problem.pour_min),
                weight: flask.weight,
                rewet: rewet
                    .zip(flask.latest_start_min)
                    .map(|(one, latest)| (min(latest), one.minutes)),
                accepted: accepted(problem, &flask.id),
            });
        }
        let model = Self {
            horizon: min(problem.horizon_min),
            now: min(decisions.not_before_min),
            load_min: min(problem.load_min),
            pour_min: min(problem.pour_min),
            change_min: min(problem.alloy_change_min),
            hold_min: min(problem.max_hold_min),
            span_min: min(problem.max_pour_span_min),
            ramp_limit: problem.ramp_limit as usize,
            load_starts: Starts::new(&problem.calendar, min(problem.load_min), until),
            pour_starts: Starts::new(&problem.calendar, min(problem.pour_min), until),
            kilns,
            least_burns: least_burns(&burns, programmes.len()),
            programmes: programmes.len(),
            burns,
            clashes,
            flasks,
            per_move: decisions.stability.as_ref().map_or(0, |one| one.minutes_per_move),
            dear_hours: decisions
                .dear_hours
                .iter()
                .map(|dear| (min(dear.from_min), min(dear.to_min), dear.minutes_per_hour))
                .collect(),
        };
        (model, floors)
    }

    /// Whether neither staying near an accepted plan nor wetting nor dear hours count.
    pub(super) fn counts_only_tardiness(&self) -> bool {
        self.per_move == 0
            && self.dear_hours.is_empty()
            && self.flasks.iter().all(|flask| flask.rewet.is_none())
    }

    /// Time from the start of a pour to the earliest start of the next.
    pub(super) fn pour_gap(&self, alloy: u16, next_alloy: u16) -> Min {
        self.pour_min + if alloy == next_alloy { 0 } else { self.change_min }
    }

    /// A programme as a kiln runs it.
    pub(super) fn burn(&self, kiln: usize, programme: u16) -> &Burn {
        &self.burns[kiln * self.programmes + usize::from(programme)]
    }

    /// The least minutes that a load takes in a kiln when the programme of one of its members is
    /// this: its own programme may be a greater one, and run shorter there.
    pub(super) fn least_burn(&self, kiln: usize, programme: u16) -> Min {
        self.least_burns[kiln * self.programmes + usize::from(programme)]
    }

    /// Whether two kilns run every programme alike.
    pub(super) fn burn_alike(&self, one: usize, other: usize) -> bool {
        let of = |kiln: usize| &self.burns[kiln * self.programmes..(kiln + 1) * self.programmes];
        of(one) == of(other)
    }

    /// What heating in dear hours counts for a load that is lit in a kiln at a minute.
    pub(super) fn dear(&self, kiln: usize, programme: u16, lit: Min) -> i64 {
        const WEEK: Min = 7 * 1440;
        let mut weighted = 0;
        for &(from, to, per_hour) in &self.dear_hours {
            for &(begin, end) in &self.burn(kiln, programme).ramps {
                let (begin, end) = (lit + begin, lit + end);
                let mut week = begin.div_euclid(WEEK) * WEEK;
                while week < end {
                    let both = (week + to).min(end) - (week + from).max(begin);
                    weighted += i64::from(both.max(0)) * per_hour;
                    week += WEEK;
                }
            }
        }
        weighted.div_euclid(60)
    }

    /// Minutes a kiln takes to cool from one casting temperature to another.
    pub(super) fn cooling(&self, kiln: usize, from_c: i32, to_c: i32) -> Min {
        let minutes = i64::from(from_c - to_c) * i64::from(self.kilns[kiln].cool_per_100c);
        ((minutes + 99).div_euclid(100)).max(0) as Min
    }
}

/// A checked number of minutes; the faults of a problem keep it within range.
fn min(minutes: i64) -> Min {
    minutes.clamp(i64::from(Min::MIN / 4), i64::from(Min::MAX / 4)) as Min
}

/// The different values in order of appearance, and for each value which of them it is.
fn distinct<T: PartialEq + Copy>(values: Vec<T>) -> (Vec<T>, Vec<usize>) {
    let mut different: Vec<T> = Vec::new();
    let numbers = values
        .into_iter()
        .map(|value| {
            different.iter().position(|known| *known == value).unwrap_or_else(|| {
                different.push(value);
                different.len() - 1
            })
        })
        .collect();
    (different, numbers)
}

fn kilns(problem: &Problem, floor_of: &[usize]) -> Vec<KilnSpec> {
    let decisions = &problem.decisions;
    problem
        .kilns
        .iter()
        .zip(floor_of)
        .map(|(kiln, &floor)| {
            let mut out_of_use: Vec<(Min, Min)> = decisions
                .out_of_use
                .iter()
                .filter(|out| out.kiln == kiln.id)
                .map(|out| (min(out.from_min), min(out.to_min)))
                .collect();
            out_of_use.sort_unstable();
            KilnSpec {
                floor,
                cool_per_100c: min(kiln.cool_min_per_100c),
                turnaround: min(kiln.turnaround_min),
                available: min(kiln.available_min.max(decisions.not_before_min)),
                out_of_use,
            }
        })
        .collect()
}

fn kiln_from(problem: &Problem, flask: &str) -> Vec<Min> {
    let timed = |ban: &&super::decisions::Ban| {
        ban.until_min.is_some() && ban.flask.as_ref().is_none_or(|id| id == flask)
    };
    let bans: Vec<_> = problem.decisions.bans.iter().filter(timed).collect();
    if bans.is_empty() {
        return Vec::new();
    }
    let until = |kiln: &str| {
        bans.iter().filter(|ban| ban.kiln == kiln).filter_map(|ban| ban.until_min).max()
    };
    problem.kilns.iter().map(|kiln| min(until(&kiln.id).unwrap_or(0))).collect()
}

fn accepted(problem: &Problem, flask: &str) -> Option<(usize, Min)> {
    let stability = problem.decisions.stability.as_ref()?;
    let place = stability.accepted.iter().find(|one| one.flask == flask)?;
    let kiln = problem.kilns.iter().position(|kiln| kiln.id == place.kiln)?;
    Some((kiln, min(place.start_min)))
}

type ProgrammeNumbers<'a> = HashMap<(&'a str, &'a str), u16>;

/// Families and size classes of the programmes in the order of rule 6: minutes, then family, then
/// size class; and their numbers.
fn programmes(problem: &Problem) -> (Vec<(&str, &str)>, ProgrammeNumbers<'_>) {
    let mut all = Vec::new();
    for family in &problem.families {
        for one in &family.programmes {
            all.push((one.programme.minutes(), family.id.as_str(), one.size_class.as_str()));
        }
    }
    all.sort_unstable();
    let named: Vec<(&str, &str)> =
        all.into_iter().map(|(_, family, size_class)| (family, size_class)).collect();
    let numbers = named.iter().copied().zip(0..).collect();
    (named, numbers)
}

/// Every programme as every kiln runs it, kiln by kiln.
fn burns(problem: &Problem, programmes: &[(&str, &str)]) -> Vec<Burn> {
    let in_kiln = |kiln: &str| {
        let run = |(family, size_class): &(&str, &str)| {
            let programme = problem.programme_in(kiln, family, size_class);
            burn(&programme.unwrap_or_default())
        };
        programmes.iter().map(run).collect::<Vec<_>>()
    };
    problem.kilns.iter().flat_map(|kiln| in_kiln(&kiln.id)).collect()
}

fn burn(programme: &Programme) -> Burn {
    let mut ramps: Vec<(Min, Min)> = Vec::new();
    let mut at = 0;
    for segment in &programme.segments {
        let end = at + min(segment.minutes);
        match ramps.last_mut() {
            _ if segment.kind == SegmentKind::Hold || end == at => {}
            Some(last) if last.1 == at => last.1 = end,
            _ => ramps.push((at, end)),
        }
        at = end;
    }
    Burn { minutes: min(programme.minutes()), ramps }
}

fn least_burns(burns: &[Burn], programmes: usize) -> Vec<Min> {
    let mut least: Vec<Min> = burns.iter().map(|burn| burn.minutes).collect();
    for in_kiln in least.chunks_mut(programmes.max(1)) {
        for number in (1..in_kiln.len()).rev() {
            in_kiln[number - 1] = in_kiln[number - 1].min(in_kiln[number]);
        }
    }
    least
}
