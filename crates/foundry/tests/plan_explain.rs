//! Explanations against plans whose reason is known.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::{Binds, Flask, Longer, OutOfUse, Plan, Problem, explain};

/// One flask and one kiln: nothing but the given thing is in its way.
fn alone() -> Problem {
    let mut problem = plan_support::problem(1, 1, 1);
    problem.calendar.closed_days.clear();
    problem.flasks[0].ready_min = 0;
    problem.flasks[0].latest_start_min = None;
    problem
}

fn plan(problem: &Problem) -> Plan {
    plan_support::plan(problem, 300, 1)
}

fn reasons(problem: &Problem, plan: &Plan, flask: &str) -> Vec<Binds> {
    explain(problem, plan, flask).unwrap().without.into_iter().map(|one| one.binds).collect()
}

#[test]
fn a_flask_alone_waits_only_for_somebody_to_be_there() {
    let problem = alone();
    let made = plan(&problem);
    assert_eq!(reasons(&problem, &made, "F001"), [Binds::Hours]);
    let told = explain(&problem, &made, "F001").unwrap();
    assert!(told.burnt_out_min <= told.pour_min);
    // With people there all the time there is nothing left but the programme.
    assert!(told.without[0].pour_min < told.pour_min);
    assert_eq!(explain(&problem, &made, "nobody"), None);
}

#[test]
fn a_flask_that_is_ready_late_is_poured_late_for_that() {
    let mut problem = alone();
    problem.flasks[0].ready_min = 2 * 1440 + 600;
    let made = plan(&problem);
    let told = explain(&problem, &made, "F001").unwrap();
    assert_eq!(told.without[0].binds, Binds::Ready);
}

#[test]
fn a_kiln_out_of_use_is_named() {
    let mut problem = alone();
    let kiln = problem.kilns[0].id.clone();
    problem.decisions.out_of_use =
        vec![OutOfUse { kiln: kiln.clone(), from_min: 0, to_min: 3 * 1440 }];
    let made = plan(&problem);
    let told = reasons(&problem, &made, "F001");
    assert_eq!(told[0], Binds::OutOfUse { kiln }, "{told:?}");
}

#[test]
fn a_kiln_that_cannot_follow_the_programme_is_a_reason() {
    let mut problem = alone();
    // Loaded at eight and poured in the afternoon of the same day.
    "wax".clone_into(&mut problem.flasks[0].family);
    "S".clone_into(&mut problem.flasks[0].size_class);
    let (kiln, flask) = (problem.kilns[0].id.clone(), problem.flasks[0].clone());
    let before = explain(&problem, &plan(&problem), "F001").unwrap();
    let Flask { family, size_class, .. } = flask;
    problem.decisions.longer = vec![Longer { kiln: kiln.clone(), family, size_class, minutes: 30 }];
    let made = plan(&problem);
    let told = explain(&problem, &made, "F001").unwrap();
    assert_eq!(told.burnt_out_min - told.start_min, before.burnt_out_min - before.start_min + 30);
    let prompt = told.without.iter().find(|one| one.binds == Binds::Slow { kiln: kiln.clone() });
    assert_eq!(prompt.map(|one| one.pour_min), Some(before.pour_min), "{told:?}");
}

#[test]
fn the_load_before_it_in_the_same_kiln_is_a_reason() {
    let mut problem = plan_support::problem(21, 2, 1);
    problem.calendar.closed_days.clear();
    // Two alike, so that both fit the kiln.
    let id = std::mem::take(&mut problem.flasks[0].id);
    problem.flasks[0] = foundry::plan::Flask { id, ..problem.flasks[1].clone() };
    for flask in &mut problem.flasks {
        flask.ready_min = 0;
        flask.latest_start_min = None;
        flask.due_min = 0;
        flask.lead_min = 0;
    }
    // Families that may not share a load.
    "wax".clone_into(&mut problem.flasks[0].family);
    "ceramic".clone_into(&mut problem.flasks[1].family);
    let made = plan(&problem);
    assert_eq!(made.loads.len(), 2, "{made:?}");
    let last = made.pours.last().unwrap();
    let told = reasons(&problem, &made, &last.flask);
    assert!(told.contains(&Binds::Kiln { kiln: "K1".to_owned() }), "{told:?}");
}

/// What is told is true: without the thing the plan's flask can be poured then, and never later
/// than now.
#[test]
fn nothing_is_told_that_gains_nothing() {
    for seed in 0..30 {
        let mut problem = plan_support::problem(seed, 9, 2);
        if seed >= 20 {
            let mut dice = plan_support::Dice::new(seed);
            problem.decisions.longer = plan_support::longer(&problem, &mut dice);
        }
        let made = plan(&problem);
        for pour in &made.pours {
            let told = explain(&problem, &made, &pour.flask).unwrap();
            assert_eq!(told.pour_min, pour.start_min);
            assert!(told.without.iter().all(|one| one.pour_min < pour.start_min));
            assert!(told.without.is_sorted_by_key(|one| one.pour_min));
        }
    }
}
