//! Looks for a good plan.

mod anneal;
mod board;
mod draft;
mod schedule;

use super::faults::ProblemFault;
use super::floor::Floors;
use super::model::Model;
use super::outcome::{Bound, Load, Objective, Placed, Plan, Pour, Reason, Unplanned};
use super::problem::Problem;
use anneal::{Line, Worth};
use board::{Board, Timing, Wanted};
use draft::{Unit, UnitNo};
use schedule::Schedule;

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// The seed of the search's random choices.
    pub seed: u64,
    /// The search ends after so many steps; with no limit only the callback ends it.
    pub most_steps: Option<u64>,
}

/// How far the search is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Steps taken.
    pub steps: u64,
    /// What the best plan so far achieves.
    pub best: Objective,
    /// What no plan can undercut.
    pub bound: Bound,
}

/// What the caller answers to a [`Progress`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Control {
    /// Go on; this share of the time allowed, from 0 to 1, is used up.
    Go {
        /// From 0 at the beginning to 1 at the end of the time allowed.
        used: f64,
    },
    /// Stop now and return the best plan found.
    Stop,
}

/// Plans a problem as well as the time allows.
///
/// `watch` is called every few milliseconds with the state of the search and
/// says how much of the time allowed is used up. With the same seed and a
/// limit of steps, and a `watch` that always answers the same, the plan is the
/// same on every machine.
///
/// # Refuses
/// A problem with faults, each named.
pub fn solve(
    problem: &Problem,
    options: &Options,
    watch: &mut dyn FnMut(&Progress) -> Control,
) -> Result<Plan, Vec<ProblemFault>> {
    let faults = problem.faults();
    if !faults.is_empty() {
        return Err(faults);
    }
    let (model, mut floors) = Model::new(problem);
    let mut unplanned = Vec::new();
    let mut units = Vec::new();
    for number in 0..model.flasks.len() as u16 {
        match refusal(problem, &model, number) {
            Some(reason) => {
                let flask = problem.flasks[usize::from(number)].id.clone();
                unplanned.push(Unplanned { flask, reason });
            }
            None => units.push(Unit::new(&model, vec![number])),
        }
    }
    let schedule = construct(&model, &mut floors, &units);
    let schedule = improve(schedule, &mut floors, &units, options, watch);
    Ok(written(problem, &mut floors, &model, schedule, unplanned))
}

/// Anneals from a first schedule until the time is used up; the best schedule seen.
fn improve<'m>(
    first: Schedule<'m>,
    floors: &mut Floors,
    units: &[Unit],
    options: &Options,
    watch: &mut dyn FnMut(&Progress) -> Control,
) -> Schedule<'m> {
    let mut best = first;
    let mut best_cost = best.cost();
    let mut steps = 0;
    let mut used = 0.0;
    let rounds = 4.0;
    let mut round = 0;
    let mut line = Line::new(&best, units.len(), options.seed);
    while used < 1.0 {
        let within: f64 = (used * rounds) % 1.0;
        if (used * rounds) as i32 != round {
            round = (used * rounds) as i32;
            line = Line::new(&best, units.len(), options.seed.wrapping_add(round as u64));
        }
        let worth = Worth {
            load: 300.0 * (0.5f64 / 300.0).powf(within),
            makespan: 0.01 * (0.01f64).powf(within),
            warmth: 150.0 * (0.1f64 / 150.0).powf(within),
        };
        for _ in 0..64 {
            if line.step(floors, units, &worth) {
                let cost = line.cost();
                if cost < best_cost {
                    best_cost = cost;
                    best = line.schedule();
                }
            }
            steps += 1;
        }
        let progress = Progress { steps, best: best_cost.objective(), bound: Bound::default() };
        match watch(&progress) {
            Control::Stop => break,
            Control::Go { used: share } => used = share.max(0.0),
        }
        if let Some(most) = options.most_steps {
            used = used.max(steps as f64 / most as f64);
        }
    }
    best
}

/// Why a flask cannot be planned even alone.
fn refusal(problem: &Problem, model: &Model, number: u16) -> Option<Reason> {
    let flask = &model.flasks[usize::from(number)];
    let given = &problem.flasks[usize::from(number)];
    if flask.latest < flask.ready {
        return Some(Reason::WindowClosed {
            ready_min: flask.ready.into(),
            latest_min: flask.latest.into(),
        });
    }
    let needed = given.height_mm + problem.clearance.top_mm;
    let tallest = problem.kilns.iter().map(|kiln| kiln.height_mm).fold(0.0, f64::max);
    if flask.kilns == 0 {
        if needed > tallest {
            return Some(Reason::TooTall {
                needed_mm: needed.ceil() as i64,
                tallest_mm: tallest.floor() as i64,
            });
        }
        let needed = given.diameter_mm + 2.0 * problem.clearance.wall_mm;
        return Some(Reason::TooWide { needed_mm: needed.ceil() as i64 });
    }
    if can_run(model, number) {
        return None;
    }
    Some(Reason::NoStart {
        from_min: flask.ready.into(),
        to_min: flask.latest.min(model.horizon).into(),
    })
}

/// Whether a flask can be poured in time when nothing else is in the way,
/// alone or in the longer programme of another flask it may share a load with:
/// a longer burnout may end in working hours when its own does not.
fn can_run(model: &Model, number: u16) -> bool {
    let flask = &model.flasks[usize::from(number)];
    let board = Board::new(model);
    let mut timing = Timing::default();
    let mut programmes = vec![flask.programme];
    for other in &model.flasks {
        let compatible = model.clashes[usize::from(flask.family)] >> other.family & 1 == 0;
        if compatible && other.programme > flask.programme {
            programmes.push(other.programme);
        }
    }
    programmes.sort_unstable();
    programmes.dedup();
    programmes.into_iter().any(|programme| {
        (0..model.kilns.len()).filter(|&kiln| flask.may_use(kiln)).any(|kiln| {
            let wanted = Wanted {
                kiln,
                programme,
                from: flask
                    .ready
                    .max(model.kilns[kiln].available)
                    .max(flask.kiln_from.get(kiln).copied().unwrap_or(0)),
                exactly: None,
                under_way: false,
                order: &[number],
            };
            board.earliest(&wanted, &mut timing)
                && timing.start <= flask.latest
                && timing.pours[0] + model.pour_min <= model.horizon
        })
    })
}

/// A first schedule: units one after the other, each where it costs least.
fn construct<'m>(model: &'m Model, floors: &mut Floors, units: &[Unit]) -> Schedule<'m> {
    let mut best: Option<Schedule<'m>> = None;
    for rule in 0..3 {
        let mut order: Vec<UnitNo> = (0..units.len() as UnitNo).collect();
        order.sort_by_key(|&number| {
            let unit = &units[usize::from(number)];
            match rule {
                0 => unit.latest,
                1 => unit.ready,
                _ => unit
                    .flasks
                    .iter()
                    .map(|&f| model.flasks[usize::from(f)].in_time)
                    .min()
                    .unwrap_or(0),
            }
        });
        let mut schedule = Schedule::new(model);
        for unit in order {
            schedule.insert(floors, units, unit, 500);
        }
        if best.as_ref().is_none_or(|least| schedule.cost() < least.cost()) {
            best = Some(schedule);
        }
    }
    best.unwrap_or_else(|| Schedule::new(model))
}

/// The plan in names, without loads that pass a latest start or the horizon.
fn written(
    problem: &Problem,
    floors: &mut Floors,
    model: &Model,
    mut schedule: Schedule<'_>,
    mut unplanned: Vec<Unplanned>,
) -> Plan {
    for number in (0..schedule.loads.len()).rev() {
        let (draft, timing) = &schedule.loads[number];
        if schedule::cost_of(model, draft, timing).broken > 0 {
            let (draft, _) = schedule.remove(number);
            for flask in draft.order {
                let spec = &model.flasks[usize::from(flask)];
                unplanned.push(Unplanned {
                    flask: problem.flasks[usize::from(flask)].id.clone(),
                    reason: Reason::NoRoom {
                        from_min: spec.ready.into(),
                        to_min: spec.latest.min(model.horizon).into(),
                    },
                });
            }
        }
    }
    let mut plan = Plan {
        instance: problem.id.clone(),
        objective: schedule.cost().objective(),
        unplanned,
        ..Plan::default()
    };
    for (draft, timing) in &schedule.loads {
        let mut members = draft.order.clone();
        members.sort_by_key(|&flask| model.flasks[usize::from(flask)].size);
        let layout = floors.layout(model.kilns[draft.kiln].floor, &draft.sizes);
        let places = layout.as_deref().unwrap_or(&[]);
        let id = |flask: u16| problem.flasks[usize::from(flask)].id.clone();
        plan.loads.push(Load {
            kiln: problem.kilns[draft.kiln].id.clone(),
            start_min: timing.start.into(),
            flasks: members
                .iter()
                .zip(places)
                .map(|(&flask, &(x_mm, y_mm))| Placed { flask: id(flask), x_mm, y_mm })
                .collect(),
        });
        for (&flask, &at) in draft.order.iter().zip(&timing.pours) {
            plan.pours.push(Pour { flask: id(flask), start_min: at.into() });
        }
    }
    plan.loads.sort_by(|a, b| (a.start_min, &a.kiln).cmp(&(b.start_min, &b.kiln)));
    plan.pours.sort_by_key(|pour| pour.start_min);
    plan
}
