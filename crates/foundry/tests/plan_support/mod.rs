//! Planning problems made from a seed: a small studio with one to four kilns.

#![allow(dead_code, reason = "each test file uses a part of it")]

use foundry::plan::{
    Accepted, Ban, Calendar, Clearance, Control, DearHours, Decisions, Family, Flask, Kiln, Longer,
    Options, OutOfUse, Pin, Plan, Problem, Programme, Progress, Rewet, Segment, SegmentKind,
    SizeProgramme, Stability, Staffed, solve,
};

/// Random numbers from a seed (xorshift64*; Vigna, "An experimental exploration
/// of Marsaglia's xorshift generators, scrambled", ACM TOMS 42, 2016).
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// A number from 0 to `count` without `count`.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33) as usize % count
    }

    pub(crate) fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }
}

fn programme(segments: &[(SegmentKind, i64)]) -> Programme {
    let segments = segments.iter().map(|&(kind, minutes)| Segment { kind, minutes }).collect();
    Programme { segments }
}

/// A family whose programmes for S, M and L grow by a step.
fn family(id: &str, segments: &[(SegmentKind, i64)], step: i64) -> Family {
    let programmes = ["S", "M", "L"]
        .iter()
        .zip(0..)
        .map(|(size_class, number)| {
            let longer: Vec<_> =
                segments.iter().map(|&(kind, minutes)| (kind, minutes + step * number)).collect();
            SizeProgramme { size_class: (*size_class).to_owned(), programme: programme(&longer) }
        })
        .collect();
    Family { id: id.to_owned(), programmes }
}

fn hours(open: &[(i64, i64)]) -> Vec<Staffed> {
    open.iter().map(|&(from_min, to_min)| Staffed { from_min, to_min }).collect()
}

/// A problem of so many flasks and kilns.
pub(crate) fn problem(seed: u64, flasks: usize, kilns: usize) -> Problem {
    use SegmentKind::{Hold, Ramp};
    let mut dice = Dice::new(seed);
    let weekday = hours(&[(480, 720), (765, 1080)]);
    let saturday = if dice.below(2) == 0 { hours(&[(540, 780)]) } else { Vec::new() };
    let mut week: [Vec<Staffed>; 7] = std::array::from_fn(|_| weekday.clone());
    week[5] = saturday;
    week[6] = Vec::new();
    let days = 9 + (flasks / (2 * kilns)) as i64;
    let closed_days = if dice.below(3) == 0 { vec![1 + dice.below(6) as i64] } else { Vec::new() };
    let floors = [(320.0, 300.0, 230.0, 50, 75), (230.0, 230.0, 200.0, 40, 60)];
    let kilns: Vec<Kiln> = (0..kilns)
        .map(|number| {
            let (width_mm, depth_mm, height_mm, cool_min_per_100c, turnaround_min) =
                if number == 0 { floors[0] } else { dice.pick(&floors) };
            Kiln {
                id: format!("K{}", number + 1),
                width_mm,
                depth_mm,
                height_mm,
                cool_min_per_100c,
                turnaround_min,
                available_min: 0,
            }
        })
        .collect();
    let alloys =
        [("bronze", 450), ("sterling", 480), ("bronze", 560), ("sterling", 560), ("gold", 620)];
    let all: Vec<Flask> = (0..flasks)
        .map(|number| {
            let (size_class, diameter_mm, height_mm) =
                dice.pick(&[("S", 64.0, 80.0), ("M", 89.0, 120.0), ("L", 127.0, 180.0)]);
            let family = dice.pick(&["wax", "wax", "resin", "resin", "ceramic"]);
            let (alloy, cast_temp_c) =
                if family == "ceramic" { ("white", 700) } else { dice.pick(&alloys) };
            let ready_min = 480 + 30 * dice.below((days as usize - 6) * 24) as i64;
            let wait = dice.pick(&[3600, 5040, 7200]);
            let lead_min = dice.pick(&[360, 600, 1560]);
            Flask {
                id: format!("F{:03}", number + 1),
                diameter_mm,
                height_mm,
                size_class: size_class.to_owned(),
                family: family.to_owned(),
                ready_min,
                latest_start_min: (dice.below(5) > 0).then_some(ready_min + wait),
                cast_temp_c,
                alloy: alloy.to_owned(),
                lead_min,
                due_min: ready_min + lead_min + 60 * dice.below(90) as i64,
                weight: dice.pick(&[1, 1, 1, 2, 2, 5]),
            }
        })
        .collect();
    Problem {
        id: format!("seed {seed}, {flasks} flasks"),
        horizon_min: days * 1440,
        calendar: Calendar { week, closed_days, special_days: Vec::new() },
        load_min: 15,
        pour_min: 12,
        alloy_change_min: 25,
        max_hold_min: 240,
        max_pour_span_min: 480,
        ramp_limit: 1 + (kilns.len() > 2) as i64,
        clearance: Clearance { flask_mm: 10.0, wall_mm: 15.0, top_mm: 20.0 },
        kilns,
        families: vec![
            family("wax", &[(Ramp, 60), (Hold, 90), (Ramp, 75), (Hold, 150)], 25),
            family("resin", &[(Ramp, 75), (Hold, 120), (Ramp, 105), (Hold, 300)], 30),
            family("ceramic", &[(Ramp, 120), (Hold, 330)], 45),
        ],
        incompatible: vec![
            ["wax".to_owned(), "ceramic".to_owned()],
            ["resin".to_owned(), "ceramic".to_owned()],
        ],
        flasks: all,
        decisions: Decisions::default(),
    }
}

/// The same with decisions that leave it possible: an accepted plan to stay near, flasks pinned to
/// a load or together, wetting, dear hours, a kiln out of use, a ban; by the seed some of them.
pub(crate) fn decided(seed: u64, flasks: usize, kilns: usize) -> Problem {
    let mut problem = problem(seed, flasks, kilns);
    let mut dice = Dice::new(seed ^ 0x5eed);
    let mut decisions =
        Decisions { not_before_min: 60 * dice.below(24) as i64, ..Default::default() };
    let kiln = |dice: &mut Dice| problem.kilns[dice.below(problem.kilns.len())].id.clone();
    // As if somebody had given each day's flasks a load of the next morning.
    let accepted: Vec<Accepted> = problem
        .flasks
        .iter()
        .map(|flask| Accepted {
            flask: flask.id.clone(),
            kiln: kiln(&mut dice),
            start_min: (flask.ready_min / 1440 + 1) * 1440 + dice.pick(&[480, 480, 495, 780]),
        })
        .collect();
    let which = 1 + dice.below(31);
    if which & 1 > 0 {
        let minutes_per_move = dice.pick(&[20, 240, 2000]);
        decisions.stability = Some(Stability { accepted: accepted.clone(), minutes_per_move });
    }
    if which & 2 > 0 {
        for _ in 0..1 + dice.below(2) {
            let Accepted { flask, kiln, start_min } = accepted[dice.below(flasks)].clone();
            decisions.pins.push(Pin::Load { flask, kiln, start_min });
        }
        let (one, other) = (&problem.flasks[0], &problem.flasks[dice.below(flasks)]);
        if one.id != other.id && one.family == other.family {
            decisions.pins.push(Pin::Together { flask: one.id.clone(), with: other.id.clone() });
        }
    }
    if which & 4 > 0 {
        let minutes = dice.pick(&[60, 400]);
        decisions.rewet = problem
            .flasks
            .iter()
            .filter_map(|flask| {
                let until_min = flask.latest_start_min? + 1440 * dice.below(3) as i64;
                Some(Rewet { flask: flask.id.clone(), until_min, minutes })
            })
            .collect();
    }
    if which & 8 > 0 {
        let minutes_per_hour = dice.pick(&[15, 90, 400]);
        let (from, to) = dice.pick(&[(1020, 1320), (420, 660), (600, 900)]);
        decisions.dear_hours = (0..5)
            .map(|day| DearHours {
                from_min: day * 1440 + from,
                to_min: day * 1440 + to,
                minutes_per_hour,
            })
            .collect();
    }
    if which & 16 > 0 {
        let from_min = 1440 * (1 + dice.below(4) as i64) + 600;
        let to_min = from_min + 60 * dice.below(30) as i64 + 60;
        decisions.out_of_use.push(OutOfUse { kiln: kiln(&mut dice), from_min, to_min });
        let flask = problem.flasks[dice.below(flasks)].id.clone();
        let until_min = Some(1440 * 3 + 600);
        decisions.bans.push(Ban { flask: Some(flask), kiln: kiln(&mut dice), until_min });
    }
    problem.id = format!("seed {seed}, {flasks} flasks, decided");
    problem.decisions = decisions;
    problem
}

/// What some kilns take longer for some programmes. A programme that says less than another may
/// then take more.
pub(crate) fn longer(problem: &Problem, dice: &mut Dice) -> Vec<Longer> {
    let mut longer = Vec::new();
    for kiln in &problem.kilns {
        for family in &problem.families {
            for one in &family.programmes {
                if dice.below(3) > 0 {
                    longer.push(Longer {
                        kiln: kiln.id.clone(),
                        family: family.id.clone(),
                        size_class: one.size_class.clone(),
                        minutes: dice.pick(&[0, 12, 25, 45, 70, 130]),
                    });
                }
            }
        }
    }
    longer
}

/// A problem in which kilns cannot follow their programmes; every other one with decisions.
pub(crate) fn slow(seed: u64, flasks: usize, kilns: usize) -> Problem {
    let mut problem = match seed % 2 {
        0 => problem(seed, flasks, kilns),
        _ => decided(seed, flasks, kilns),
    };
    problem.decisions.longer = longer(&problem, &mut Dice::new(seed ^ 0x510));
    problem.id = format!("seed {seed}, {flasks} flasks, slow");
    problem
}

/// What counts first in a plan: its tardiness with moves, wetting and dear hours, from the plan's
/// loads alone but for the dear hours, which the judge has looked at.
pub(crate) fn counted(problem: &Problem, plan: &Plan) -> i64 {
    let decisions = &problem.decisions;
    let stands = |one: &Accepted| {
        plan.loads.iter().any(|load| {
            (&load.kiln, load.start_min) == (&one.kiln, one.start_min)
                && load.flasks.iter().any(|placed| placed.flask == one.flask)
        })
    };
    let moves = decisions.stability.as_ref().map_or(0, |stability| {
        let moved = stability.accepted.iter().filter(|one| !stands(one)).count() as i64;
        moved * stability.minutes_per_move
    });
    let wetted = decisions.rewet.iter().filter(|one| plan.rewetted.contains(&one.flask));
    let wetting: i64 = wetted.map(|one| one.minutes).sum();
    plan.objective.weighted_tardiness + moves + wetting + plan.dear_min
}

/// A plan found in so many steps.
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
pub(crate) fn plan(problem: &Problem, steps: u64, seed: u64) -> Plan {
    let options = Options { seed, most_steps: Some(steps) };
    solve(problem, &options, &mut |_: &Progress| Control::Go { used: 0.0 }).unwrap()
}
