//! Plans of small problems against optima that another program found and proved.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::Objective;
use foundry::plan::judge::check;

/// Problems of so many flasks are proved within the steps of the test.
const MOST_PROVED: usize = 8;

/// Seed, flasks and kilns of a problem, and the best that can be achieved.
fn optima() -> Vec<(u64, usize, usize, Objective)> {
    include_str!("../data/plan_optima.csv")
        .lines()
        .filter(|line| line.starts_with(|first: char| first.is_ascii_digit()))
        .map(|line| {
            let numbers: Vec<i64> = line.split(',').map(|one| one.parse().unwrap()).collect();
            let objective = Objective {
                weighted_tardiness: numbers[3],
                loads: numbers[4],
                makespan_min: numbers[5],
            };
            (numbers[0] as u64, numbers[1] as usize, numbers[2] as usize, objective)
        })
        .collect()
}

#[test]
fn small_problems_are_planned_as_well_as_can_be() {
    let optima = optima();
    assert!(optima.len() >= 30);
    for (seed, flasks, kilns, best) in optima {
        let problem = plan_support::problem(seed, flasks, kilns);
        let plan = plan_support::plan(&problem, 30_000, 1);
        assert_eq!(check(&problem, &plan), [], "seed {seed}");
        assert_eq!(plan.unplanned, [], "seed {seed}");
        assert_eq!(plan.objective, best, "seed {seed}");
        // Few flasks are searched through to the end, in fewer steps than these.
        assert!(flasks > MOST_PROVED || plan.proved_optimal, "seed {seed} is not proved");
        // A bound that exceeded the optimum would be wrong; the optimum is another program's.
        assert!(plan.bound.weighted_tardiness <= best.weighted_tardiness, "seed {seed}");
        assert!(plan.bound.loads <= best.loads, "seed {seed}");
    }
}

/// The bounds say something: where a delay cannot be helped, some of it is known to be such.
#[test]
fn bounds_lie_between_nothing_and_the_optima() {
    let (mut bounds, mut best_sum) = (0, 0);
    for (seed, flasks, kilns, best) in optima() {
        let problem = plan_support::problem(seed, flasks, kilns);
        let plan = plan_support::plan(&problem, 64, 1);
        assert!(plan.bound.weighted_tardiness <= best.weighted_tardiness, "seed {seed}");
        assert!(plan.bound.loads >= 1, "seed {seed}");
        bounds += plan.bound.weighted_tardiness;
        best_sum += best.weighted_tardiness;
    }
    println!("bounds add up to {bounds}, optima to {best_sum}");
    assert!(bounds > 0 && bounds <= best_sum);
}
