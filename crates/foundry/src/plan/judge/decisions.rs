//! Whether a plan keeps what was settled before planning.

use super::{Judge, Rule};
use crate::plan::decisions::Pin;
use crate::plan::outcome::Load;
use crate::plan::problem::SegmentKind;

pub(super) fn check(judge: &mut Judge<'_>) {
    pins(judge);
    under_way(judge);
    kilns(judge);
    wetted(judge);
    dear(judge);
}

fn load_of<'a>(judge: &Judge<'a>, flask: &str) -> Option<&'a Load> {
    judge.plan.loads.iter().find(|load| load.flasks.iter().any(|placed| placed.flask == flask))
}

fn pins(judge: &mut Judge<'_>) {
    for pin in &judge.problem.decisions.pins {
        let (kept, name) = match pin {
            Pin::Load { flask, kiln, start_min } => {
                let kept = load_of(judge, flask)
                    .is_none_or(|load| load.kiln == *kiln && load.start_min == *start_min);
                (kept, format!("{flask} is pinned to kiln {kiln} at {start_min}"))
            }
            Pin::Together { flask, with } => {
                let kept = match (load_of(judge, flask), load_of(judge, with)) {
                    (Some(one), Some(other)) => std::ptr::eq(one, other),
                    (None, None) => true,
                    _ => false,
                };
                (kept, format!("{flask} is pinned together with {with}"))
            }
        };
        if !kept && !excused(judge, pin) {
            judge.broken(Rule::Decisions, name);
        }
    }
}

/// A pin may be left unkept when the plan names it and one of its flasks is
/// left out or under way.
fn excused(judge: &Judge<'_>, pin: &Pin) -> bool {
    let settled = |id: &String| {
        judge.plan.unplanned.iter().any(|one| one.flask == *id)
            || judge.problem.decisions.under_way.iter().any(|load| load.flasks.contains(id))
    };
    let excuse = match pin {
        Pin::Load { flask, .. } => settled(flask),
        Pin::Together { flask, with } => settled(flask) || settled(with),
    };
    excuse && judge.plan.unkept.iter().any(|one| one.pin == *pin)
}

fn under_way(judge: &mut Judge<'_>) {
    for given in &judge.problem.decisions.under_way {
        let planned = judge
            .plan
            .loads
            .iter()
            .find(|load| load.kiln == given.kiln && load.start_min == given.start_min);
        let mut members: Vec<&str> =
            planned.iter().flat_map(|l| &l.flasks).map(|placed| placed.flask.as_str()).collect();
        let mut expected: Vec<&str> = given.flasks.iter().map(String::as_str).collect();
        members.sort_unstable();
        expected.sort_unstable();
        // Who is left out has a reason; nobody else may be missing or join.
        expected.retain(|id| judge.plan.unplanned.iter().all(|one| one.flask != *id));
        if members != expected {
            let what = format!(
                "the load under way in kiln {} at {} has other members",
                given.kiln, given.start_min
            );
            judge.broken(Rule::Decisions, what);
        }
        for pour in &given.poured {
            let stated = judge.pour_start.get(pour.flask.as_str()).copied();
            if stated.is_some_and(|start| start != pour.start_min) {
                let what = format!("{} was poured at {}", pour.flask, pour.start_min);
                judge.broken(Rule::Decisions, what);
            }
        }
    }
}

fn kilns(judge: &mut Judge<'_>) {
    let decisions = &judge.problem.decisions;
    for load in &judge.plan.loads {
        if judge.under_way(load) {
            pours_from_now(judge, load);
            continue;
        }
        if load.start_min < decisions.not_before_min {
            let what = format!("load of kiln {} starts before planning", load.kiln);
            judge.broken(Rule::Decisions, what);
        }
        let over = load
            .flasks
            .iter()
            .filter_map(|placed| judge.pour_start.get(placed.flask.as_str()))
            .max()
            .map_or(load.start_min, |last| last + judge.problem.pour_min);
        for out in &decisions.out_of_use {
            if out.kiln == load.kiln && load.start_min < out.to_min && out.from_min < over {
                let what =
                    format!("kiln {} is used at {}, but out of use", load.kiln, load.start_min);
                judge.broken(Rule::Decisions, what);
            }
        }
        for ban in &decisions.bans {
            let meant = ban.kiln == load.kiln
                && ban.until_min.is_none_or(|until| load.start_min < until)
                && ban
                    .flask
                    .as_ref()
                    .is_none_or(|flask| load.flasks.iter().any(|placed| placed.flask == *flask));
            if meant {
                let what =
                    format!("a load of kiln {} at {} is forbidden", load.kiln, load.start_min);
                judge.broken(Rule::Decisions, what);
            }
        }
    }
}

/// Whoever starts after the latest start is named as wetted again, and nobody else.
fn wetted(judge: &mut Judge<'_>) {
    let mut expected: Vec<&str> = Vec::new();
    for load in judge.plan.loads.iter().filter(|load| !judge.under_way(load)) {
        for placed in &load.flasks {
            let may = judge.problem.decisions.rewet.iter().any(|one| one.flask == placed.flask);
            let latest = judge.flasks[placed.flask.as_str()].latest_start_min;
            if may && latest.is_some_and(|latest| load.start_min > latest) {
                expected.push(&placed.flask);
            }
        }
    }
    expected.sort_unstable();
    if judge.plan.rewetted != expected {
        let what =
            format!("{:?} are said to be wetted again, {expected:?} are", judge.plan.rewetted);
        judge.broken(Rule::Decisions, what);
    }
}

/// What heating in dear hours counts, minute by minute of every ramp.
fn dear(judge: &mut Judge<'_>) {
    let mut total = 0;
    for load in judge.plan.loads.iter().filter(|load| !judge.under_way(load)) {
        let mut at = load.start_min + judge.problem.load_min;
        let mut weighted = 0;
        for segment in judge.programme(load).segments {
            if segment.kind == SegmentKind::Ramp {
                for minute in at..at + segment.minutes {
                    let of_week = minute.rem_euclid(7 * 1440);
                    let dear = &judge.problem.decisions.dear_hours;
                    weighted += dear
                        .iter()
                        .filter(|one| one.from_min <= of_week && of_week < one.to_min)
                        .map(|one| one.minutes_per_hour)
                        .sum::<i64>();
                }
            }
            at += segment.minutes;
        }
        total += weighted.div_euclid(60);
    }
    if judge.plan.dear_min != total {
        let what = format!("dear hours count {total}, not {}", judge.plan.dear_min);
        judge.broken(Rule::Decisions, what);
    }
}

/// What is left to pour of a load under way is not poured in the past.
fn pours_from_now(judge: &mut Judge<'_>, load: &Load) {
    let now = judge.problem.decisions.not_before_min;
    for placed in &load.flasks {
        let happened = judge.poured.contains(placed.flask.as_str());
        let start = judge.pour_start[placed.flask.as_str()];
        if !happened && start < now {
            let what = format!("{} is poured at {start}, before planning", placed.flask);
            judge.broken(Rule::Decisions, what);
        }
    }
}
