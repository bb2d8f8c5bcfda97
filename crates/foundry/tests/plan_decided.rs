//! Plans with decisions against optima that another program found and proved.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::judge::check;
use foundry::plan::{Plan, Problem};

/// Seed, flasks and kilns of a problem, and what the best plan counts.
fn optima() -> Vec<([u64; 3], [i64; 3])> {
    include_str!("../data/plan_decided.csv")
        .lines()
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
    let optima = optima();
    assert!(optima.len() >= 30);
    for ([seed, flasks, kilns], best) in optima {
        let problem = plan_support::decided(seed, flasks as usize, kilns as usize);
        let plan = plan_support::plan(&problem, 30_000, 1);
        assert_eq!(check(&problem, &plan), [], "seed {seed}");
        assert_eq!((&plan.unplanned[..], &plan.unkept[..]), (&[][..], &[][..]), "seed {seed}");
        assert_eq!(achieved(&problem, &plan), best, "seed {seed}");
        assert!(plan.proved_optimal, "seed {seed} is not proved");
    }
}

/// Whatever is called the best is not beaten from other beginnings.
#[test]
fn what_is_proved_is_not_beaten_from_other_seeds() {
    let mut proved = 0;
    for seed in 900..960 {
        let problem = plan_support::decided(seed, 5 + seed as usize % 6, 1 + seed as usize % 3);
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
