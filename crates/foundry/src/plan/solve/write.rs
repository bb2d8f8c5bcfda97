//! From numbers back to names.

use crate::plan::floor::Floors;
use crate::plan::model::{FlaskNo, Model};
use crate::plan::outcome::{Load, Placed, Plan, Pour, Reason, UnkeptPin, Unplanned};
use crate::plan::problem::Problem;

use super::draft::{Draft, Unit};
use super::schedule::{Schedule, cost_of, rewetted};

/// The plan of a schedule. Loads that pass a latest start or the horizon are left out.
pub(super) fn written(
    problem: &Problem,
    floors: &mut Floors,
    units: &[Unit],
    mut schedule: Schedule<'_>,
    mut unplanned: Vec<Unplanned>,
    unkept: Vec<UnkeptPin>,
) -> Plan {
    let model = schedule.board.model;
    let id = |flask: FlaskNo| problem.flasks[usize::from(flask)].id.clone();
    let mut left_out: Vec<FlaskNo> = std::mem::take(&mut schedule.waiting)
        .into_iter()
        .flat_map(|unit| units[usize::from(unit)].flasks.clone())
        .collect();
    for number in (0..schedule.loads.len()).rev() {
        let (draft, timing) = &schedule.loads[number];
        if cost_of(model, draft, timing).broken > 0 {
            let (draft, _) = schedule.remove(number);
            left_out.extend(draft.order);
        }
    }
    for flask in left_out {
        let spec = &model.flasks[usize::from(flask)];
        let reason = Reason::NoRoom {
            from_min: spec.ready.into(),
            to_min: spec.latest.min(model.horizon).into(),
        };
        unplanned.push(Unplanned { flask: id(flask), reason });
    }
    let mut plan = Plan {
        instance: problem.id.clone(),
        objective: schedule.cost().objective(),
        unplanned,
        unkept,
        ..Plan::default()
    };
    for (draft, timing) in &schedule.loads {
        if !draft.under_way {
            plan.rewetted.extend(rewetted(model, draft, timing).map(|(flask, _)| id(flask)));
            let lit = timing.start + model.load_min;
            plan.dear_min += model.dear(draft.kiln, draft.programme, lit);
        }
        plan.loads.push(Load {
            kiln: problem.kilns[draft.kiln].id.clone(),
            start_min: timing.start.into(),
            flasks: places(problem, floors, model, draft),
        });
        for (&flask, &at) in draft.order.iter().zip(&timing.pours) {
            plan.pours.push(Pour { flask: id(flask), start_min: at.into() });
            let accepted = model.flasks[usize::from(flask)].accepted;
            if accepted.is_some_and(|place| place != (draft.kiln, timing.start)) {
                plan.moved.push(id(flask));
            }
        }
    }
    plan.loads.sort_by(|a, b| (a.start_min, &a.kiln).cmp(&(b.start_min, &b.kiln)));
    plan.pours.sort_by_key(|pour| pour.start_min);
    plan.moved.sort_unstable();
    plan.rewetted.sort_unstable();
    plan
}

/// The members of a load with their places. A load under way that the floor
/// should not have taken stands in a row: it is in the kiln all the same.
fn places(problem: &Problem, floors: &mut Floors, model: &Model, draft: &Draft) -> Vec<Placed> {
    let mut members = draft.order.clone();
    members.sort_by_key(|&flask| model.flasks[usize::from(flask)].size);
    let layout = floors.layout(model.kilns[draft.kiln].floor, &draft.sizes);
    members
        .iter()
        .enumerate()
        .map(|(position, &flask)| {
            let given = &problem.flasks[usize::from(flask)];
            let place = layout.as_ref().and_then(|layout| layout.get(position)).copied();
            let in_a_row = (given.diameter_mm * (position as f64 + 0.5), given.diameter_mm / 2.0);
            let (x_mm, y_mm) = place.unwrap_or(in_a_row);
            Placed { flask: given.id.clone(), x_mm, y_mm }
        })
        .collect()
}
