#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use super::*;
use crate::plan::decisions::{OutOfUse, Poured, UnderWay};
use crate::plan::judge::check;
use crate::plan::outcome::Plan;
use crate::plan::problem::Problem;
use crate::plan::solve::anneal::{Line, Worth};
use crate::plan::solve::construct::construct;
use crate::plan::solve::plan_support;
use crate::plan::solve::schedule::Cost;
use crate::plan::solve::settle::settle;
use crate::plan::solve::write::written;

/// The best plan by this search alone, from nothing known, and what it counts.
fn searched(problem: &Problem) -> Option<(Value, Plan)> {
    assert_eq!(problem.faults(), []);
    let (model, mut floors) = Model::new(problem);
    let settled = settle(problem, &model, &mut floors);
    let members: Vec<UnitNo> = (0..settled.units.len() as UnitNo).collect();
    let stays = settled.under_way();
    let mut exact = Exact::new(&model, &mut floors, &settled.units, &members, stays).unwrap();
    let best = exact.advance(20_000_000, None, &settled.units);
    assert!(exact.is_done());
    let best = best?;
    let value = best.cost().value();
    let (unplanned, unkept) = (settled.unplanned.clone(), settled.unkept.clone());
    let plan = written(problem, &mut floors, &settled.units, best, unplanned, unkept);
    assert_eq!(check(problem, &plan), [], "{}", problem.id);
    assert_eq!(plan.unplanned.len(), settled.unplanned.len(), "{}", problem.id);
    Some((value, plan))
}

/// What annealing alone ends at.
fn annealed(problem: &Problem, steps: u32, seed: u64) -> Cost {
    let (model, mut floors) = Model::new(problem);
    let settled = settle(problem, &model, &mut floors);
    let first = construct(&mut floors, &settled.units, &settled.schedule);
    let mut best = first.cost();
    let Some(mut line) = Line::new(&first, &settled.units, seed, |_| true) else { return best };
    for step in 0..steps {
        let done = f64::from(step) / f64::from(steps);
        let worth = Worth {
            load: 300.0 * (0.5f64 / 300.0).powf(done),
            makespan: 0.01,
            broken: 1.0,
            warmth: 150.0 * (0.1f64 / 150.0).powf(done),
        };
        if line.step(&mut floors, &settled.units, &worth) {
            best = best.min(line.cost());
        }
    }
    best
}

/// From nothing known it ends at optima that another program found and proved.
#[test]
fn it_ends_at_the_optima_of_another_program() {
    let rows: Vec<Vec<i64>> = include_str!("../../../../data/plan_optima.csv")
        .lines()
        .filter(|line| line.starts_with(|first: char| first.is_ascii_digit()))
        .map(|line| line.split(',').map(|one| one.parse().unwrap()).collect())
        .collect();
    // Larger ones are left to tests of the release build.
    for row in rows.iter().filter(|row| row[1] <= 7).take(40) {
        let problem = plan_support::problem(row[0] as u64, row[1] as usize, row[2] as usize);
        let found = searched(&problem).unwrap().1.objective;
        assert_eq!(
            [found.weighted_tardiness, found.loads, found.makespan_min],
            row[3..6],
            "seed {}",
            row[0]
        );
    }
}

/// With loads under way and kilns out of use it ends at nothing worse than a long annealing.
#[test]
fn beside_loads_under_way_it_is_no_worse_than_annealing() {
    let mut compared = 0;
    for seed in 300..330 {
        let mut problem = plan_support::problem(seed, 7, 1 + seed as usize % 3);
        problem.decisions.not_before_min = 1440 + 600;
        let both = [problem.flasks[0].id.clone(), problem.flasks[1].id.clone()];
        problem.decisions.under_way = vec![UnderWay {
            kiln: "K1".to_owned(),
            start_min: 1440 + 480,
            poured: vec![Poured { flask: both[0].clone(), start_min: 1440 + 590 }],
            flasks: both.to_vec(),
        }];
        let kiln = problem.kilns[problem.kilns.len() - 1].id.clone();
        problem.decisions.out_of_use =
            vec![OutOfUse { kiln, from_min: 3 * 1440, to_min: 4 * 1440 + 700 }];
        compared += u32::from(is_no_worse_than_annealing(&problem, 6_000, seed));
    }
    assert!(compared >= 10, "{compared}");
}

/// With pins, an accepted plan, wetting and dear hours too, and what it says it counts is what
/// its plan counts.
#[test]
fn with_decisions_it_is_no_worse_than_annealing() {
    let (mut compared, mut extra) = (0, 0);
    for seed in 400..490 {
        let flasks = 4 + seed as usize % 4;
        let problem = plan_support::decided(seed, flasks, 1 + seed as usize % 3);
        compared += u32::from(is_no_worse_than_annealing(&problem, 20_000, seed));
        if let Some((value, plan)) = searched(&problem).filter(|one| one.1.unplanned.is_empty()) {
            assert_eq!(value.0, plan_support::counted(&problem, &plan), "seed {seed}");
            extra += u32::from(value.0 > plan.objective.weighted_tardiness);
        }
    }
    assert!(compared >= 60 && extra >= 20, "{compared}, {extra}");
}

/// With kilns that take longer than their programmes say too, some of them for the shorter one.
#[test]
fn with_slow_kilns_it_is_no_worse_than_annealing() {
    let mut compared = 0;
    for seed in 600..640 {
        let problem = plan_support::slow(seed, 4 + seed as usize % 4, 1 + seed as usize % 3);
        compared += u32::from(is_no_worse_than_annealing(&problem, 20_000, seed));
    }
    assert!(compared >= 25, "{compared}");
}

/// Compares when there is something to plan; whether annealing planned all of it.
fn is_no_worse_than_annealing(problem: &Problem, steps: u32, seed: u64) -> bool {
    let (model, mut floors) = Model::new(problem);
    if settle(problem, &model, &mut floors).units.is_empty() {
        return false;
    }
    let annealed = annealed(problem, steps, seed);
    let found = searched(problem).map(|one| one.0);
    if annealed.broken > 0 {
        return false;
    }
    assert!(
        found.is_some_and(|found| found <= annealed.value()),
        "seed {seed}: {found:?}, annealed {annealed:?}"
    );
    true
}
