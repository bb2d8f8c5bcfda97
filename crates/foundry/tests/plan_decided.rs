//! Plans with decisions against optima that another program found and proved.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::judge::check;
use foundry::plan::{Plan, Problem};

/// Seed, flasks and kilns of a problem, and what the best plan counts.
fn optima(data: &str) -> Vec<([u64; 3], [i64; 3])> {
    data.lines()
        .filter(|line| line.starts_with(|first: char| first.is_ascii_digit()))
        .map(|line| {
            let numbers: Vec<i64> = line.split(',').map(|one| one.parse().unwrap()).collect();
            (
                [numbers[0] as u64, numbers[1] as u64, numbers[2] as u64],
                [numbers[3], numbers[4], numbers[5]],
            )
        })
        .collect()
}

fn achieved(problem: &Problem, plan: &Plan) -> [i64; 3] {
    let objective = plan.objective;
    [plan_support::counted(problem, plan), objective.loads, objective.makespan_min]
}

#[test]
fn what_was_decided_is_planned_as_well_as_can_be_and_proved() {
    let optima = optima(include_str!("../data/plan_decided.csv"));
    assert!(optima.len() >= 30);
    for ([seed, flasks, kilns], best) in optima {
        is_the_best(&plan_support::decided(seed, flasks as usize, kilns as usize), best);
    }
}

#[test]
fn kilns_that_cannot_follow_are_planned_as_well_as_can_be_and_proved() {
    let optima = optima(include_str!("../data/plan_slow.csv"));
    assert!(optima.len() >= 10);
    for ([seed, flasks, kilns], best) in optima {
        is_the_best(&plan_support::slow(seed, flasks as usize, kilns as usize), best);
    }
}

fn is_the_best(problem: &Problem, best: [i64; 3]) {
    let plan = plan_support::plan(problem, 30_000, 1);
    assert_eq!(check(problem, &plan), [], "{}", problem.id);
    assert_eq!((&plan.unplanned[..], &plan.unkept[..]), (&[][..], &[][..]), "{}", problem.id);
    assert_eq!(achieved(problem, &plan), best, "{}", problem.id);
    assert!(plan.proved_optimal, "{} is not proved", problem.id);
    // A bound that exceeded the optimum would be wrong; the optimum is another program's.
    assert!(plan.bound.weighted_tardiness <= best[0], "{}", problem.id);
}

/// Whatever is called the best is not beaten from other beginnings.
#[test]
fn what_is_proved_is_not_beaten_from_other_seeds() {
    let mut proved = 0;
    for seed in 900..960 {
        let made = if seed % 4 == 0 { plan_support::slow } else { plan_support::decided };
        let problem = made(seed, 5 + seed as usize % 6, 1 + seed as usize % 3);
        let plan = plan_support::plan(&problem, 12_000, 1);
        assert_eq!(check(&problem, &plan), [], "seed {seed}");
        if !plan.proved_optimal {
            continue;
        }
        proved += 1;
        for other in 2..5 {
            let again = plan_support::plan(&problem, 4_000, other);
            if again.unplanned.len() == plan.unplanned.len() {
                let (best, found) = (achieved(&problem, &plan), achieved(&problem, &again));
                assert!(best <= found, "seed {seed}: {best:?} is called best, {found:?} was found");
            }
        }
    }
    assert!(proved >= 50, "{proved}");
}
