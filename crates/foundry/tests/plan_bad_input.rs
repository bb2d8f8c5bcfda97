//! What cannot be planned is told with its reason, and everything else is planned.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::judge::check;
use foundry::plan::{
    Accepted, Control, DearHours, Options, OutOfUse, Pin, Problem, Progress, Reason, Rewet,
    Stability, solve,
};

fn plan(problem: &Problem) -> foundry::plan::Plan {
    plan_support::plan(problem, 800, 1)
}

#[test]
fn a_flask_that_fits_no_kiln_is_left_out_and_the_rest_is_planned() {
    let mut problem = plan_support::problem(5, 8, 2);
    problem.flasks[0].height_mm = 900.0;
    problem.flasks[1].diameter_mm = 700.0;
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    let reason = |id: &str| {
        let found = made.unplanned.iter().find(|one| one.flask == id);
        found.map(|one| one.reason.to_string()).unwrap_or_default()
    };
    assert!(reason("F001").contains("too tall: with the clearance above it, it needs 920 mm"));
    assert!(reason("F002").contains("too wide: with the clearance to the walls it needs 730 mm"));
    assert_eq!(made.pours.len(), 6);
}

#[test]
fn without_working_hours_nothing_is_planned_and_it_says_why() {
    let mut problem = plan_support::problem(5, 6, 2);
    problem.calendar.week = Default::default();
    let faults = solve(&problem, &Options::default(), &mut |_| Control::Stop).unwrap_err();
    let words = faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
    assert!(words.contains("no day has a staffed interval of 15 minutes"), "{words}");
    // When only every day of the time is closed, each flask says so.
    let mut problem = plan_support::problem(5, 6, 2);
    problem.calendar.closed_days = (0..=problem.horizon_min / 1440).collect();
    let made = plan(&problem);
    assert_eq!(made.loads, []);
    assert_eq!(made.unplanned.len(), 6);
    for one in &made.unplanned {
        assert!(matches!(one.reason, Reason::NoStart { .. }), "{one:?}");
    }
}

#[test]
fn contradicting_pins_are_named_and_the_rest_is_planned() {
    let mut problem = plan_support::problem(7, 8, 2);
    let load = |kiln: &str, start_min| Pin::Load {
        flask: "F001".to_owned(),
        kiln: kiln.to_owned(),
        start_min,
    };
    problem.decisions.pins = vec![load("K1", 3 * 1440 + 500), load("K2", 4 * 1440 + 500)];
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    assert!(made.unkept.iter().all(|one| one.why.contains("pinned both to kiln")), "{made:?}");
    assert_eq!(made.unkept.len(), 2);
    assert_eq!(made.unplanned.len(), 1);
    assert_eq!(made.unplanned[0].flask, "F001");
    assert_eq!(made.pours.len(), 7);
    // A pin at a minute when nobody is there.
    problem.decisions.pins = vec![load("K1", 3 * 1440 + 120)];
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    assert!(made.unkept[0].why.contains("staffed hours"), "{}", made.unkept[0].why);
}

#[test]
fn a_kiln_that_is_always_out_of_use_is_not_used() {
    let mut problem = plan_support::problem(9, 8, 2);
    problem.decisions.out_of_use = vec![OutOfUse {
        kiln: "K1".to_owned(),
        from_min: 0,
        to_min: problem.horizon_min + 60 * 1440,
    }];
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    assert!(made.loads.iter().all(|load| load.kiln != "K1"));
    assert_eq!(made.pours.len() + made.unplanned.len(), 8);
}

#[test]
fn due_dates_in_the_past_are_late_by_what_cannot_be_helped() {
    let mut problem = plan_support::problem(11, 6, 2);
    for flask in &mut problem.flasks {
        flask.due_min = 0;
    }
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    assert!(made.objective.weighted_tardiness > 0);
    assert!(made.bound.weighted_tardiness > 0, "the bound says that it cannot be helped");
}

#[test]
fn programmes_that_take_no_time_and_hours_too_short_for_a_pour_are_told() {
    let mut problem = plan_support::problem(13, 5, 1);
    for one in &mut problem.families[0].programmes {
        one.programme.segments.clear();
    }
    problem.calendar.week.iter_mut().flatten().for_each(|open| open.to_min = open.from_min + 1);
    let faults = solve(&problem, &Options::default(), &mut |_| Control::Stop).unwrap_err();
    let words = faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
    assert!(words.contains("family wax, size class S: minutes of the programme"), "{words}");
    assert!(words.contains("no day has a staffed interval"), "{words}");
}

#[test]
fn ten_thousand_flasks_are_planned_as_far_as_they_fit_and_the_others_say_why() {
    let mut problem = plan_support::problem(17, 400, 4);
    let four_hundred = problem.flasks.clone();
    problem.flasks = (0..10_000)
        .map(|number| {
            let mut flask = four_hundred[number % 400].clone();
            flask.id = format!("F{number:05}");
            flask
        })
        .collect();
    let made = solve(&problem, &Options::default(), &mut |_| Control::Stop).unwrap();
    assert_eq!(check(&problem, &made), []);
    assert_eq!(made.pours.len() + made.unplanned.len(), 10_000);
    assert!(made.pours.len() >= 200, "{}", made.pours.len());
}

#[test]
fn the_first_plan_comes_before_the_search_and_later_ones_when_asked_for() {
    let problem = plan_support::problem(3, 14, 2);
    let mut plans = Vec::new();
    let mut calls = 0;
    let last = solve(&problem, &Options::default(), &mut |progress: &Progress| {
        calls += 1;
        plans.extend(progress.plan.clone());
        if calls > 40 { Control::Stop } else { Control::Show { used: f64::from(calls) / 60.0 } }
    })
    .unwrap();
    assert!(plans.len() > 2);
    for plan in plans.iter().chain([&last]) {
        assert_eq!(check(&problem, plan), []);
    }
    let better = |plan: &foundry::plan::Plan| (plan.unplanned.len(), plan.objective);
    assert!(plans.is_sorted_by(|a, b| better(b) <= better(a)));
    assert!(better(&last) <= better(plans.last().unwrap()));
}

#[test]
fn a_plan_made_again_with_nothing_changed_stays_as_it_was_accepted() {
    let mut problem = plan_support::problem(3, 10, 2);
    let first = plan(&problem);
    let accepted = first
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
    problem.decisions.stability = Some(Stability { accepted, minutes_per_move: 5_000 });
    let again = plan(&problem);
    assert_eq!(again.moved, Vec::<String>::new());
}

#[test]
fn a_flask_that_has_stood_too_long_is_wetted_again_only_when_it_pays() {
    let mut problem = plan_support::problem(1, 1, 1);
    problem.calendar.closed_days.clear();
    let flask = &mut problem.flasks[0];
    flask.ready_min = 0;
    // It may stand until Monday morning at six, before anybody comes.
    flask.latest_start_min = Some(360);
    flask.due_min = problem.horizon_min;
    assert_eq!(plan(&problem).unplanned.len(), 1, "without wetting it cannot be fired");
    problem.decisions.rewet =
        vec![Rewet { flask: "F001".to_owned(), until_min: 5 * 1440, minutes: 100 }];
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    assert_eq!(made.rewetted, ["F001"]);
    // With time enough it is fired while it is still wet.
    problem.flasks[0].latest_start_min = Some(2 * 1440);
    let made = plan(&problem);
    assert_eq!(check(&problem, &made), []);
    assert_eq!(made.rewetted, Vec::<String>::new());
}

#[test]
fn a_load_waits_for_cheaper_hours_when_nothing_is_due() {
    let mut problem = plan_support::problem(1, 1, 1);
    problem.calendar.closed_days.clear();
    problem.flasks[0].ready_min = 0;
    problem.flasks[0].latest_start_min = None;
    problem.flasks[0].due_min = problem.horizon_min;
    let early = plan_support::plan(&problem, 4_000, 1);
    assert_eq!(early.dear_min, 0);
    // Monday is dear all day.
    problem.decisions.dear_hours =
        vec![DearHours { from_min: 0, to_min: 1440, minutes_per_hour: 500 }];
    let made = plan_support::plan(&problem, 4_000, 1);
    assert_eq!(check(&problem, &made), []);
    assert_eq!(made.dear_min, 0);
    assert!(made.loads[0].start_min > early.loads[0].start_min);
    // When it is due it does not wait: being late costs more.
    problem.flasks[0].due_min = 0;
    problem.flasks[0].weight = 100;
    let made = plan_support::plan(&problem, 4_000, 1);
    assert_eq!(check(&problem, &made), []);
    assert_eq!(made.loads[0].start_min, early.loads[0].start_min);
    assert!(made.dear_min > 0);
}
