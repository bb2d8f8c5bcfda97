//! Every rule is seen by the judge when it is broken, and faults are named.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod plan_support;

use foundry::plan::judge::{Rule, check};
use foundry::plan::{
    Ban, DearHours, Longer, OutOfUse, Pin, Plan, Poured, Problem, SpecialDay, Staffed, UnderWay,
};
use plan_support::{plan, problem};

/// A problem and a plan of it that keeps every rule.
fn good() -> (Problem, Plan) {
    let problem = problem(5, 10, 2);
    let plan = plan(&problem, 2_000, 1);
    assert_eq!(check(&problem, &plan), []);
    assert_eq!(plan.unplanned, []);
    (problem, plan)
}

/// The judge finds the rule broken after a change.
fn breaks(rule: Rule, change: impl FnOnce(&mut Problem, &mut Plan)) {
    let (mut problem, mut plan) = good();
    change(&mut problem, &mut plan);
    let found = check(&problem, &plan);
    assert!(found.iter().any(|one| one.rule == rule), "{rule:?} not among {found:?}");
}

#[test]
fn a_flask_loaded_twice_or_nowhere_is_seen() {
    breaks(Rule::OneLoadOnePour, |_, plan| {
        let again = plan.loads[0].flasks[0].clone();
        plan.loads[1].flasks.push(again);
    });
    breaks(Rule::OneLoadOnePour, |_, plan| {
        plan.pours.pop();
    });
    breaks(Rule::OneLoadOnePour, |_, plan| plan.loads[0].kiln = "K9".to_owned());
    breaks(Rule::OneLoadOnePour, |_, plan| plan.pours[0].start_min = -1);
    breaks(Rule::OneLoadOnePour, |_, plan| plan.pours[0].flask = "nobody".to_owned());
}

#[test]
fn a_start_outside_the_window_is_seen() {
    breaks(Rule::StartWindow, |problem, plan| {
        let first = &plan.loads[0].flasks[0].flask;
        let flask = problem.flasks.iter_mut().find(|flask| flask.id == *first).unwrap();
        flask.ready_min = plan.loads[0].start_min + 1;
    });
    breaks(Rule::StartWindow, |problem, plan| {
        let first = &plan.loads[0].flasks[0].flask;
        let flask = problem.flasks.iter_mut().find(|flask| flask.id == *first).unwrap();
        flask.latest_start_min = Some(plan.loads[0].start_min - 1);
    });
}

#[test]
fn work_outside_staffed_hours_is_seen() {
    breaks(Rule::Staffed, |_, plan| plan.loads[0].start_min -= plan.loads[0].start_min % 1440);
    breaks(Rule::Staffed, |problem, _| problem.calendar.week = Default::default());
    breaks(Rule::Staffed, |problem, plan| {
        problem.calendar.closed_days.push(plan.pours[0].start_min / 1440);
    });
    breaks(Rule::Staffed, |problem, plan| {
        let day = plan.pours[0].start_min / 1440;
        problem.calendar.special_days.push(SpecialDay { day, hours: Vec::new() });
    });
    breaks(Rule::Staffed, |problem, plan| {
        let kiln = problem.kilns.iter_mut().find(|kiln| kiln.id == plan.loads[0].kiln).unwrap();
        kiln.available_min = plan.loads[0].start_min + 1;
    });
    breaks(Rule::Horizon, |problem, plan| {
        problem.horizon_min = plan.objective.makespan_min - 1;
    });
}

#[test]
fn a_plan_keeps_to_days_with_hours_of_their_own() {
    let mut problem = problem(5, 10, 2);
    problem.horizon_min += 7 * 1440;
    // The first week has mornings only, and on its Sunday somebody comes.
    for day in 0..6 {
        let hours = vec![Staffed { from_min: 480, to_min: 600 }];
        problem.calendar.special_days.push(SpecialDay { day, hours });
    }
    let hours = vec![Staffed { from_min: 600, to_min: 900 }];
    problem.calendar.special_days.push(SpecialDay { day: 6, hours });
    let plan = plan(&problem, 2_000, 1);
    assert_eq!(check(&problem, &plan), []);
    let first_week = |minute: i64| minute < 7 * 1440;
    let starts = plan.pours.iter().map(|pour| pour.start_min).filter(|start| first_week(*start));
    for start in starts {
        let (day, minute) = (start / 1440, start % 1440);
        let open = if day == 6 { 600..900 } else { 480..600 };
        assert!(open.contains(&minute), "day {day}, minute {minute}");
    }
    problem.calendar.special_days.push(SpecialDay { day: 6, hours: Vec::new() });
    assert!(
        problem.faults().iter().any(|fault| fault.to_string().contains("day 6 is there twice"))
    );
}

#[test]
fn a_kiln_with_room_for_one_flask_needs_a_load_for_each_and_no_more() {
    let mut problem = problem(5, 3, 1);
    let most = problem.flasks.iter().map(|flask| flask.diameter_mm).fold(0.0, f64::max);
    for kiln in &mut problem.kilns {
        kiln.width_mm = most + 2.0 * problem.clearance.wall_mm + 1.0;
        kiln.depth_mm = kiln.width_mm;
    }
    problem.horizon_min += 14 * 1440;
    problem.flasks.truncate(1);
    problem.flasks[0].diameter_mm = most;
    problem.flasks[0].due_min = problem.horizon_min;
    problem.flasks[0].latest_start_min = None;
    let plan = plan(&problem, 100, 1);
    assert_eq!((plan.objective.loads, plan.bound.loads), (1, 1));
    assert_eq!(check(&problem, &plan), []);
}

#[test]
fn flasks_too_near_too_tall_or_outside_are_seen() {
    let crowded = |plan: &mut Plan| {
        let number = plan.loads.iter().position(|load| load.flasks.len() > 1).unwrap();
        plan.loads.swap(0, number);
    };
    breaks(Rule::Floor, |_, plan| {
        crowded(plan);
        let place = plan.loads[0].flasks[0].clone();
        plan.loads[0].flasks[1].x_mm = place.x_mm + 50.0;
        plan.loads[0].flasks[1].y_mm = place.y_mm;
    });
    breaks(Rule::Floor, |_, plan| plan.loads[0].flasks[0].x_mm = 20.0);
    breaks(Rule::Floor, |_, plan| plan.loads[0].flasks[0].y_mm = f64::NAN);
    breaks(Rule::Floor, |problem, _| problem.clearance.top_mm = 150.0);
}

#[test]
fn incompatible_families_are_seen() {
    breaks(Rule::Families, |problem, plan| {
        let load = plan.loads.iter().find(|load| load.flasks.len() > 1).unwrap();
        let family =
            |number: usize| problem.flask(&load.flasks[number].flask).unwrap().family.clone();
        let (a, b) = (family(0), "another".to_owned());
        let mut other = problem.family(&family(1)).unwrap().clone();
        other.id = b.clone();
        let second = load.flasks[1].flask.clone();
        problem.families.push(other);
        problem.flasks.iter_mut().find(|flask| flask.id == second).unwrap().family = b.clone();
        problem.incompatible.push([a, b]);
    });
}

#[test]
fn pours_too_early_too_late_or_too_far_apart_are_seen() {
    breaks(Rule::PourAfterProgramme, |problem, _| {
        for one in problem.families.iter_mut().flat_map(|family| &mut family.programmes) {
            one.programme.segments[1].minutes += 600;
        }
    });
    breaks(Rule::Hold, |problem, _| {
        for one in problem.families.iter_mut().flat_map(|family| &mut family.programmes) {
            one.programme.segments.clear();
        }
    });
    breaks(Rule::Span, |problem, _| problem.max_pour_span_min = 5);
    breaks(Rule::Cooling, |problem, _| {
        problem.kilns.iter_mut().for_each(|kiln| kiln.cool_min_per_100c += 2000);
    });
    breaks(Rule::Furnace, |problem, _| problem.pour_min = 500);
    breaks(Rule::Furnace, |problem, _| problem.alloy_change_min = 4000);
}

#[test]
fn ramps_and_turnaround_are_seen() {
    breaks(Rule::Ramps, |problem, plan| {
        for one in problem.families.iter_mut().flat_map(|family| &mut family.programmes) {
            one.programme.segments[0].minutes = 40_000;
        }
        assert!(plan.loads.iter().any(|load| load.kiln == "K2"));
    });
    breaks(Rule::Turnaround, |problem, _| {
        problem.kilns.iter_mut().for_each(|kiln| kiln.turnaround_min = 9000);
    });
}

#[test]
fn a_wrong_objective_or_bound_is_seen() {
    breaks(Rule::Objective, |_, plan| plan.objective.weighted_tardiness += 1);
    breaks(Rule::Objective, |_, plan| plan.objective.loads -= 1);
    breaks(Rule::Objective, |_, plan| plan.objective.makespan_min += 1);
    breaks(Rule::Objective, |_, plan| {
        plan.bound.weighted_tardiness = plan.objective.weighted_tardiness + 1;
    });
}

#[test]
fn decisions_that_are_not_kept_are_seen() {
    breaks(Rule::Decisions, |problem, plan| {
        let flask = plan.loads[0].flasks[0].flask.clone();
        let start_min = plan.loads[0].start_min + 10;
        let kiln = plan.loads[0].kiln.clone();
        problem.decisions.pins.push(Pin::Load { flask, kiln, start_min });
    });
    breaks(Rule::Decisions, |problem, plan| {
        let flask = plan.loads[0].flasks[0].flask.clone();
        let with = plan.loads[1].flasks[0].flask.clone();
        problem.decisions.pins.push(Pin::Together { flask, with });
    });
    breaks(Rule::Decisions, |problem, plan| {
        let load = &plan.loads[0];
        problem.decisions.out_of_use.push(OutOfUse {
            kiln: load.kiln.clone(),
            from_min: load.start_min + 5,
            to_min: load.start_min + 6,
        });
    });
    breaks(Rule::Decisions, |problem, plan| {
        let kiln = plan.loads[0].kiln.clone();
        problem.decisions.bans.push(Ban { flask: None, kiln, until_min: None });
    });
    breaks(Rule::Decisions, |problem, _| problem.decisions.not_before_min = 5000);
    breaks(Rule::Decisions, |problem, plan| {
        let load = &plan.loads[0];
        let flask = load.flasks[0].flask.clone();
        problem.decisions.under_way.push(UnderWay {
            kiln: load.kiln.clone(),
            start_min: load.start_min,
            flasks: load.flasks.iter().map(|placed| placed.flask.clone()).collect(),
            poured: vec![Poured { flask, start_min: 7 }],
        });
    });
}

/// A kiln that cannot follow a programme.
fn longer(kiln: &str, family: &str, size_class: &str, minutes: i64) -> Longer {
    Longer {
        kiln: kiln.to_owned(),
        family: family.to_owned(),
        size_class: size_class.to_owned(),
        minutes,
    }
}

/// Every kiln of a problem takes longer for every programme.
fn slow(problem: &mut Problem, minutes: i64) {
    for kiln in &problem.kilns {
        for family in &problem.families {
            for one in &family.programmes {
                let longer = longer(&kiln.id, &family.id, &one.size_class, minutes);
                problem.decisions.longer.push(longer);
            }
        }
    }
}

#[test]
fn a_kiln_that_takes_longer_is_seen() {
    breaks(Rule::PourAfterProgramme, |problem, _| slow(problem, 600));
    // Other kilns come into a ramp while it stays in its last one.
    breaks(Rule::Ramps, |problem, _| slow(problem, 2_000));
}

/// By hand: people from 480 to 720 and from 765 to 1080, 15 minutes to load, 12 to pour, at most
/// 240 of hold. Loaded at 480 on Monday, a small wax flask burns from 495 on for 60 + 90 + 75 + 150
/// minutes.
#[test]
fn a_load_is_poured_when_its_kiln_is_held_not_when_its_programme_says() {
    let mut problem = problem(1, 1, 2);
    problem.calendar.closed_days.clear();
    let kiln = problem.kilns[0].clone();
    problem.kilns[1] = foundry::plan::Kiln { id: "K2".to_owned(), ..kiln };
    let flask = &mut problem.flasks[0];
    "wax".clone_into(&mut flask.family);
    "S".clone_into(&mut flask.size_class);
    (flask.ready_min, flask.latest_start_min, flask.due_min) = (480, Some(1080), 0);
    let made = |problem: &Problem| {
        let plan = plan(problem, 300, 1);
        assert_eq!(check(problem, &plan), []);
        assert!(plan.proved_optimal);
        let load = plan.loads.first().map(|load| (load.kiln.clone(), load.start_min));
        (load, plan.pours.first().map(|pour| pour.start_min))
    };
    let at = |kiln: &str, start_min| Some((kiln.to_owned(), start_min));
    assert_eq!(made(&problem), (at("K1", 480), Some(870)));
    // One kiln is slow: the other is used.
    problem.decisions.longer = vec![longer("K1", "wax", "S", 40)];
    assert_eq!(made(&problem), (at("K2", 480), Some(870)));
    // Both are, one more than the other; what takes longer for others does not matter.
    problem.decisions.longer.push(longer("K2", "wax", "S", 41));
    problem.decisions.longer.push(longer("K1", "wax", "M", 200));
    assert_eq!(made(&problem), (at("K1", 480), Some(910)));
    // An hour of ramp counts 60 all week: 60 + 75 minutes by the programme, and 40.
    problem.decisions.dear_hours =
        vec![DearHours { from_min: 0, to_min: 7 * 1440, minutes_per_hour: 60 }];
    assert_eq!(plan(&problem, 300, 1).dear_min, 175);
    problem.decisions.dear_hours.clear();
    // The last minute of the day at which a pour begins.
    problem.decisions.longer = vec![longer("K1", "wax", "S", 198), longer("K2", "wax", "S", 500)];
    assert_eq!(made(&problem), (at("K1", 480), Some(1068)));
    // A minute more, and no pour is left on Monday; held over night it would be too long.
    problem.decisions.longer[0].minutes = 199;
    problem.decisions.longer[1].minutes = 199;
    assert_eq!(made(&problem), (None, None));
    // Loaded last of all on Monday, it is held for 240 minutes until Tuesday's first pour.
    problem.decisions.longer[0].minutes = 225;
    assert_eq!(made(&problem), (at("K1", 1065), Some(1440 + 480)));
}

#[test]
fn every_fault_of_a_problem_is_named() {
    type Change = fn(&mut Problem);
    let changes: [(&str, Change); 29] = [
        ("horizon_min", |p| p.horizon_min = 0),
        ("load_min", |p| p.load_min = -1),
        ("pour_min", |p| p.pour_min = 0),
        ("alloy_change_min", |p| p.alloy_change_min = -5),
        ("ramp_limit", |p| p.ramp_limit = 0),
        ("clearance.wall_mm", |p| p.clearance.wall_mm = f64::NAN),
        ("calendar", |p| p.calendar.week = Default::default()),
        ("Tuesday", |p| p.calendar.week[1].reverse()),
        ("closed_days", |p| p.calendar.closed_days.push(-1)),
        ("at least one", |p| p.kilns.clear()),
        ("K1", |p| p.kilns[1].id = "K1".to_owned()),
        ("kiln K2: width_mm", |p| p.kilns[1].width_mm = -3.0),
        ("kiln K1: turnaround_min", |p| p.kilns[0].turnaround_min = -3),
        ("\"wax\" is there twice", |p| p.families[1].id = "wax".to_owned()),
        ("minutes of a segment", |p| {
            p.families[0].programmes[0].programme.segments[0].minutes = -9
        }),
        ("incompatible", |p| p.incompatible.push(["wax".to_owned(), "clay".to_owned()])),
        ("\"F002\" is there twice", |p| p.flasks[0].id = "F002".to_owned()),
        ("flask number 1", |p| p.flasks[0].id.clear()),
        ("F003", |p| p.flasks[2].family = "clay".to_owned()),
        ("size class", |p| p.flasks[2].size_class = "XL".to_owned()),
        ("flask F001: ready_min", |p| p.flasks[0].ready_min = -1),
        ("flask F001: diameter_mm", |p| p.flasks[0].diameter_mm = f64::INFINITY),
        ("flask F001: weight", |p| p.flasks[0].weight = -2),
        ("kiln \"K9\"", |p| p.decisions.longer.push(longer("K9", "wax", "S", 5))),
        ("family \"clay\"", |p| p.decisions.longer.push(longer("K1", "clay", "S", 5))),
        ("size class \"XL\"", |p| p.decisions.longer.push(longer("K1", "wax", "XL", 5))),
        ("what kiln K1 takes longer for family wax, size class S must be from 0", |p| {
            p.decisions.longer.push(longer("K1", "wax", "S", -1));
        }),
        ("what kiln K1 takes longer for family wax, size class S must be from 0", |p| {
            p.decisions.longer.push(longer("K1", "wax", "S", i64::MAX));
        }),
        ("is there twice; give its minutes once", |p| {
            p.decisions.longer = vec![longer("K1", "wax", "S", 5); 2];
        }),
    ];
    for (words, change) in changes {
        let mut problem = problem(5, 4, 2);
        assert_eq!(problem.faults(), []);
        change(&mut problem);
        let faults: Vec<String> = problem.faults().iter().map(ToString::to_string).collect();
        assert!(faults.iter().any(|fault| fault.contains(words)), "{words} not in {faults:?}");
    }
}
