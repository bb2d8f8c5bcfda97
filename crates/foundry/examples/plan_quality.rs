//! How good plans are, and how fast: made from seeds, beside proved optima, beside serving flasks
//! in the order in which they come, and by number of flasks.
//!
//! `plan_quality optima SECONDS` plans the problems of `data/plan_optima.csv` and
//! `data/plan_optima_24.csv`, whose last column says how many of tardiness, loads and end are
//! proved;
//! `plan_quality solve SECONDS SEED FLASKS KILNS [...]` prints a line for each problem: seed,
//! flasks, kilns, tardiness, loads and makespan, bounds of tardiness and loads, flasks left out,
//! seconds to the first plan, to the best and in all, and 1 when it is proved to be the best;
//! `plan_quality decided SECONDS SEED FLASKS KILNS [...]` does so with decisions, and what counts
//! in place of tardiness;
//! `plan_quality in-order SECONDS SEED FLASKS KILNS` compares with serving in order;
//! `plan_quality growth SEED KILNS FLASKS [FLASKS ...]` times the first plan;
//! `plan_quality replan SEED FLASKS KILNS` times the first answer after a kiln breaks.
//!
//! Seconds are those of the processor where the system tells them (Linux), so that what else runs
//! on the machine takes nothing from a search, and of the wall elsewhere.

#![allow(clippy::print_stdout, reason = "writing is what this program is for")]
#![allow(clippy::unwrap_used, reason = "a measurement stops where it fails")]

#[path = "../tests/plan_support/mod.rs"]
mod plan_support;

use std::time::{Duration, Instant};

use foundry::plan::judge::check;
use foundry::plan::{
    Accepted, Control, Objective, Options, OutOfUse, Pin, Plan, Problem, Stability, solve,
};

/// A plan, when the first was there, and when the best was found.
struct Run {
    plan: Plan,
    first_s: f64,
    best_s: f64,
    all_s: f64,
}

/// Counts seconds from its beginning.
struct Clock {
    wall: Instant,
    processor_s: Option<f64>,
}

impl Clock {
    fn start() -> Self {
        Self { wall: Instant::now(), processor_s: Self::processor_s() }
    }

    fn seconds(&self) -> f64 {
        let used = self.processor_s.zip(Self::processor_s()).map(|(begun, now)| now - begun);
        used.unwrap_or_else(|| self.wall.elapsed().as_secs_f64())
    }

    /// What this thread has had of the processor; a search has one thread.
    fn processor_s() -> Option<f64> {
        let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        Some(told.split(' ').next()?.parse::<f64>().ok()? / 1e9)
    }
}

fn run(problem: &Problem, seconds: f64) -> Run {
    let begun = Clock::start();
    let (mut first_s, mut best_s) = (0.0, 0.0);
    let mut best: Option<Objective> = None;
    let plan = solve(problem, &Options { seed: 1, most_steps: None }, &mut |progress| {
        let now = begun.seconds();
        if best.is_none() {
            first_s = now;
        }
        if best.is_none_or(|known| progress.best < known) {
            best = Some(progress.best);
            best_s = now;
        }
        if now >= seconds { Control::Stop } else { Control::Go { used: now / seconds } }
    })
    .unwrap();
    let all_s = begun.seconds();
    assert_eq!(check(problem, &plan), [], "{}", problem.id);
    Run { plan, first_s, best_s, all_s }
}

fn line(seed: u64, flasks: usize, kilns: usize, problem: &Problem, run: &Run) {
    let (o, b) = (run.plan.objective, run.plan.bound);
    println!(
        "{seed},{flasks},{kilns},{},{},{},{},{},{},{:.3},{:.3},{:.3},{}",
        plan_support::counted(problem, &run.plan),
        o.loads,
        o.makespan_min,
        b.weighted_tardiness,
        b.loads,
        run.plan.unplanned.len(),
        run.first_s,
        run.best_s,
        run.all_s,
        u8::from(run.plan.proved_optimal)
    );
}

/// Rows of a file of optima: seed, flasks and kilns, the best, how many goals of it are proved.
fn rows(file: &str) -> Vec<([u64; 3], [i64; 3], usize)> {
    let numbers =
        |row: &str| row.split(',').filter_map(|one| one.parse().ok()).collect::<Vec<i64>>();
    file.lines()
        .filter_map(|row| match numbers(row)[..] {
            [seed, flasks, kilns, late, loads, end, ref rest @ ..] => Some((
                [seed as u64, flasks as u64, kilns as u64],
                [late, loads, end],
                rest.first().map_or(3, |&proved| proved as usize),
            )),
            _ => None,
        })
        .collect()
}

fn optima(seconds: f64, file: &str) {
    let (mut met, mut near, mut all, mut proved, mut slowest) = (0, 0, 0, 0, 0.0_f64);
    for ([seed, flasks, kilns], best, known) in rows(file) {
        let problem = plan_support::problem(seed, flasks as usize, kilns as usize);
        let run = run(&problem, seconds);
        let o = run.plan.objective;
        let found = [o.weighted_tardiness, o.loads, o.makespan_min];
        let is_met = found[..known] <= best[..known];
        all += 1;
        met += u32::from(is_met);
        near += u32::from(is_met || 100 * found[0] <= 101 * best[0]);
        proved += u32::from(run.plan.proved_optimal);
        slowest = slowest.max(run.best_s);
        if found != best {
            println!(
                "seed {seed}, {flasks} flasks, {kilns} kilns: {found:?} beside {best:?}, of which {known} proved"
            );
        }
    }
    println!(
        "{met} of {all} optimal within {seconds} s as far as that is known, {near} within 1 % of the least tardiness, the last after {slowest:.2} s; {proved} proved here"
    );
}

/// Flasks in the order in which they are ready, each where it costs least then, never moved again.
fn in_order(problem: &Problem) -> Plan {
    let mut order: Vec<usize> = (0..problem.flasks.len()).collect();
    order.sort_by_key(|&n| problem.flasks[n].ready_min);
    let mut so_far = Problem { flasks: Vec::new(), ..problem.clone() };
    let mut plan = Plan::default();
    for n in order {
        so_far.flasks.push(problem.flasks[n].clone());
        so_far.decisions.pins = plan
            .loads
            .iter()
            .flat_map(|load| {
                load.flasks.iter().map(|placed| Pin::Load {
                    flask: placed.flask.clone(),
                    kiln: load.kiln.clone(),
                    start_min: load.start_min,
                })
            })
            .collect();
        plan = solve(&so_far, &Options::default(), &mut |_| Control::Stop).unwrap();
    }
    plan
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let numbers: Vec<f64> = words.iter().skip(1).filter_map(|word| word.parse().ok()).collect();
    match (words.first().map(String::as_str), &numbers[..]) {
        (Some("optima"), [seconds]) => {
            optima(*seconds, include_str!("../data/plan_optima.csv"));
            optima(*seconds, include_str!("../data/plan_optima_24.csv"));
        }
        (Some(word @ ("solve" | "decided")), [seconds, rest @ ..]) => {
            let made = if word == "solve" { plan_support::problem } else { plan_support::decided };
            for three in rest.chunks_exact(3) {
                let (seed, flasks, kilns) = (three[0] as u64, three[1] as usize, three[2] as usize);
                let problem = made(seed, flasks, kilns);
                line(seed, flasks, kilns, &problem, &run(&problem, *seconds));
            }
        }
        (Some("in-order"), [seconds, seed, flasks, kilns]) => {
            let problem = plan_support::problem(*seed as u64, *flasks as usize, *kilns as usize);
            let plain = in_order(&problem);
            println!("in order: {:?}, {} left out", plain.objective, plain.unplanned.len());
            let run = run(&problem, *seconds);
            line(*seed as u64, *flasks as usize, *kilns as usize, &problem, &run);
        }
        (Some("growth"), [seed, kilns, rest @ ..]) => {
            for &flasks in rest {
                let problem = plan_support::problem(*seed as u64, flasks as usize, *kilns as usize);
                let mut times: Vec<Duration> = (0..5)
                    .map(|_| {
                        let begun = Instant::now();
                        let mut first = Duration::ZERO;
                        solve(&problem, &Options::default(), &mut |_| {
                            first = begun.elapsed();
                            Control::Stop
                        })
                        .unwrap();
                        first
                    })
                    .collect();
                times.sort_unstable();
                println!("{flasks} flasks: first plan after {:?}", times[2]);
            }
        }
        (Some("replan"), [seed, flasks, kilns]) => {
            let mut problem =
                plan_support::problem(*seed as u64, *flasks as usize, *kilns as usize);
            let before = run(&problem, 2.0).plan;
            let accepted = before
                .loads
                .iter()
                .flat_map(|load| {
                    load.flasks.iter().map(|placed| Accepted {
                        flask: placed.flask.clone(),
                        kiln: load.kiln.clone(),
                        start_min: load.start_min,
                    })
                })
                .collect();
            problem.decisions.stability = Some(Stability { accepted, minutes_per_move: 240 });
            problem.decisions.out_of_use = vec![OutOfUse {
                kiln: problem.kilns[0].id.clone(),
                from_min: 2 * 1440,
                to_min: 4 * 1440,
            }];
            let after = run(&problem, 1.0);
            println!(
                "first answer after {:.3} s, best after {:.3} s, {} of {} flasks moved",
                after.first_s,
                after.best_s,
                after.plan.moved.len(),
                problem.flasks.len()
            );
        }
        _ => println!("see the top of this file for how it is called"),
    }
}
