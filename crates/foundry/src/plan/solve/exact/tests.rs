#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

#[path = "../../../../tests/plan_support/mod.rs"]
mod plan_support;

use super::*;
use crate::plan::judge::check;
use crate::plan::outcome::Plan;
use crate::plan::problem::{OutOfUse, Poured, Problem, UnderWay};
use crate::plan::solve::settle::settle;
use crate::plan::solve::write::written;

/// The best plan by this search alone, from nothing known.
fn searched(problem: &Problem) -> Option<Plan> {
    assert_eq!(problem.faults(), []);
    let (model, mut floors) = Model::new(problem);
    let settled = settle(problem, &model, &mut floors);
    let members: Vec<UnitNo> = (0..settled.units.len() as UnitNo).collect();
    let stays = settled.schedule.clone();
    let mut exact = Exact::new(&model, &mut floors, &settled.units, &members, stays).unwrap();
    let best = exact.advance(20_000_000, None, &settled.units);
    assert!(exact.is_done());
    let plan =
        written(problem, &mut floors, &settled.units, best?, settled.unplanned.clone(), Vec::new());
    assert_eq!(check(problem, &plan), [], "{}", problem.id);
    Some(plan)
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
        let found = searched(&problem).unwrap().objective;
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
        let annealed = plan_support::plan(&problem, 6_000, seed);
        let (model, mut floors) = Model::new(&problem);
        let settled = settle(&problem, &model, &mut floors);
        if annealed.unplanned.len() > settled.unplanned.len() || settled.units.is_empty() {
            continue;
        }
        let found = searched(&problem).unwrap();
        assert!(
            found.objective <= annealed.objective,
            "seed {seed}: {:?}, annealed {:?}",
            found.objective,
            annealed.objective
        );
        compared += 1;
    }
    assert!(compared >= 10, "{compared}");
}
