//! Whatever the problem, the plan keeps every rule and every decision.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::judge::check;
use foundry::plan::{
    Accepted, Ban, DearHours, Decisions, OutOfUse, Pin, Plan, Poured, Problem, Rewet, Stability,
    UnderWay,
};
use plan_support::{Dice, plan, problem};
use proptest::prelude::*;

fn load_of<'a>(plan: &'a Plan, flask: &str) -> Option<(&'a str, i64)> {
    let load = plan.loads.iter().find(|load| load.flasks.iter().any(|one| one.flask == flask))?;
    Some((&load.kiln, load.start_min))
}

/// Decisions at random; many of them contradict each other.
fn any_decisions(problem: &Problem, seed: u64) -> Decisions {
    let mut dice = Dice::new(seed);
    let flask = |dice: &mut Dice| problem.flasks[dice.below(problem.flasks.len())].id.clone();
    let kiln = |dice: &mut Dice| problem.kilns[dice.below(problem.kilns.len())].id.clone();
    let mut decisions =
        Decisions { not_before_min: 60 * dice.below(60) as i64, ..Decisions::default() };
    for _ in 0..dice.below(3) {
        decisions.pins.push(Pin::Load {
            flask: flask(&mut dice),
            kiln: kiln(&mut dice),
            start_min: 1440 * dice.below(7) as i64 + 480 + 15 * dice.below(38) as i64,
        });
    }
    for _ in 0..dice.below(3) {
        decisions.pins.push(Pin::Together { flask: flask(&mut dice), with: flask(&mut dice) });
    }
    if dice.below(2) == 0 {
        let from_min = 300 * dice.below(40) as i64;
        let to_min = from_min + 1 + 100 * dice.below(20) as i64;
        decisions.out_of_use.push(OutOfUse { kiln: kiln(&mut dice), from_min, to_min });
    }
    if dice.below(2) == 0 {
        decisions.bans.push(Ban {
            flask: (dice.below(4) > 0).then(|| flask(&mut dice)),
            kiln: kiln(&mut dice),
            until_min: (dice.below(2) == 0).then(|| 100 * dice.below(100) as i64),
        });
    }
    if dice.below(2) == 0 {
        let now = decisions.not_before_min;
        let (a, b) = (flask(&mut dice), flask(&mut dice));
        let poured = (dice.below(2) == 0)
            .then(|| Poured { flask: a.clone(), start_min: (now - 20).max(0) })
            .into_iter()
            .collect();
        let flasks = if a == b { vec![a] } else { vec![a, b] };
        let start_min = (now - 60 * dice.below(20) as i64).max(0);
        let kiln = kiln(&mut dice);
        decisions.under_way.push(UnderWay { kiln, start_min, flasks, poured });
    }
    if dice.below(2) == 0 {
        let accepted = problem
            .flasks
            .iter()
            .map(|flask| Accepted {
                flask: flask.id.clone(),
                kiln: kiln(&mut dice),
                start_min: flask.ready_min + 30 * dice.below(60) as i64,
            })
            .collect();
        decisions.stability = Some(Stability { accepted, minutes_per_move: 50 });
    }
    if dice.below(2) == 0 {
        decisions.dear_hours = (0..7)
            .map(|day| DearHours {
                from_min: day * 1440 + 1020,
                to_min: day * 1440 + 1320,
                minutes_per_hour: dice.pick(&[0, 20, 300]),
            })
            .collect();
    }
    if dice.below(2) == 0 {
        decisions.rewet = problem
            .flasks
            .iter()
            .filter_map(|flask| {
                let until_min = flask.latest_start_min? + 1440 * dice.below(3) as i64;
                Some(Rewet { flask: flask.id.clone(), until_min, minutes: 400 })
            })
            .collect();
    }
    if dice.below(2) == 0 {
        decisions.longer = plan_support::longer(problem, &mut dice);
    }
    decisions
}

/// With enough flasks and steps for two searches that tell each other what they know.
#[test]
fn two_searches_beside_each_other_find_the_same_plan_again() {
    let problem = problem(7, 24, 3);
    let once = plan(&problem, 40_000, 3);
    assert_eq!(check(&problem, &once), []);
    assert_eq!(once, plan(&problem, 40_000, 3));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn the_judge_finds_nothing(seed in 0..u64::MAX, flasks in 0_usize..22, kilns in 1_usize..5) {
        let problem = problem(seed, flasks, kilns);
        let plan = plan(&problem, 1_500, seed);
        prop_assert_eq!(check(&problem, &plan), []);
    }

    #[test]
    fn the_judge_finds_nothing_whatever_was_decided(
        seed in 0..u64::MAX, flasks in 1_usize..14, kilns in 1_usize..4,
    ) {
        let mut problem = problem(seed, flasks, kilns);
        problem.decisions = any_decisions(&problem, seed);
        prop_assert_eq!(problem.faults(), []);
        let plan = plan(&problem, 1_500, seed);
        prop_assert_eq!(check(&problem, &plan), []);
        // A pin that is not kept is named, and so is every flask left out for it.
        for pin in &problem.decisions.pins {
            let Pin::Load { flask, kiln, start_min } = pin else { continue };
            let kept = load_of(&plan, flask) == Some((kiln.as_str(), *start_min));
            let left_out = plan.unplanned.iter().any(|one| one.flask == *flask);
            let named = plan.unkept.iter().any(|one| one.pin == *pin);
            prop_assert!(kept || named || left_out, "{pin:?} of {plan:?}");
        }
    }

    #[test]
    fn the_same_seed_and_steps_give_the_same_plan(seed in 0..u64::MAX, flasks in 0_usize..16) {
        let problem = problem(seed, flasks, 2);
        prop_assert_eq!(plan(&problem, 700, seed), plan(&problem, 700, seed));
    }

    #[test]
    fn a_plan_replanned_with_a_high_price_of_moving_stays(seed in 0..u64::MAX) {
        let mut problem = problem(seed, 10, 2);
        let first = plan(&problem, 1_500, seed);
        let accepted = first.loads.iter().flat_map(|load| {
            load.flasks.iter().map(|placed| Accepted {
                flask: placed.flask.clone(),
                kiln: load.kiln.clone(),
                start_min: load.start_min,
            })
        });
        problem.decisions.stability =
            Some(Stability { accepted: accepted.collect(), minutes_per_move: 1_000_000 });
        let again = plan(&problem, 1_500, seed ^ 1);
        prop_assert_eq!(check(&problem, &again), []);
        // Only who was left out before may come in and push others aside.
        if first.unplanned.is_empty() {
            prop_assert_eq!(&again.moved, &Vec::<String>::new());
            // Found out apart from what the plan says of itself. Pours inside the loads may be
            // ordered anew, so the same loads need not be poured equally well.
            for flask in &problem.flasks {
                prop_assert_eq!(load_of(&again, &flask.id), load_of(&first, &flask.id));
            }
        }
    }
}
