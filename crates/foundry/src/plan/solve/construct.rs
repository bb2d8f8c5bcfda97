//! A first schedule.

use std::collections::BTreeMap;

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::Model;

use super::draft::{Draft, Unit, UnitNo};
use super::schedule::Schedule;

/// From so many units on there is no time to construct several schedules.
const MANY_UNITS: usize = 1_000;
/// Weighted tardiness that a new load counts when a flask could also join another.
const LOAD_WORTH: i64 = 500;

/// The best of a few schedules that put units one after the other where each costs least.
pub(super) fn construct<'m>(
    floors: &mut Floors,
    units: &[Unit],
    settled: &Schedule<'m>,
) -> Schedule<'m> {
    let model = settled.board.model;
    let mut best: Option<Schedule<'m>> = None;
    let orders: [fn(&Model, &Unit) -> Min; 3] = [
        |_, unit| unit.latest,
        |_, unit| unit.ready,
        |model, unit| {
            unit.flasks.iter().map(|&f| model.flasks[usize::from(f)].in_time).min().unwrap_or(0)
        },
    ];
    let mut starts = vec![settled.clone()];
    if model.per_move > 0 {
        starts.push(as_accepted(floors, units, settled.clone()));
    }
    for start in &starts {
        // With very many units one order has to do, the first.
        let few = if units.len() > MANY_UNITS { 1 } else { orders.len() };
        // Those that come too late only take the room of others, but may find it later.
        let ways = orders[..few].iter().flat_map(|order| [(order, true), (order, false)]);
        for (order, late_too) in ways {
            let complete = best.as_ref().is_some_and(|best| best.cost().broken == 0);
            let idle = if late_too { units.len() > MANY_UNITS } else { complete };
            if idle {
                continue;
            }
            let mut schedule = start.clone();
            let mut left = unplaced(units, &schedule);
            left.sort_by_key(|&unit| order(model, &units[usize::from(unit)]));
            // Who cannot run alone tries again when the others are placed.
            left.retain(|&unit| !schedule.insert(floors, units, unit, LOAD_WORTH, late_too));
            left.retain(|&unit| !schedule.insert(floors, units, unit, LOAD_WORTH, late_too));
            schedule.waiting = left;
            if best.as_ref().is_none_or(|least| schedule.cost() < least.cost()) {
                best = Some(schedule);
            }
        }
    }
    best.unwrap_or_else(|| settled.clone())
}

fn unplaced(units: &[Unit], schedule: &Schedule<'_>) -> Vec<UnitNo> {
    let mut placed = vec![false; units.len()];
    for (draft, _) in &schedule.loads {
        draft.units.iter().for_each(|&unit| placed[usize::from(unit)] = true);
    }
    (0..units.len() as UnitNo).filter(|&unit| !placed[usize::from(unit)]).collect()
}

/// Adds the loads of the accepted plan, as far as they can still be had.
fn as_accepted<'m>(
    floors: &mut Floors,
    units: &[Unit],
    mut schedule: Schedule<'m>,
) -> Schedule<'m> {
    let model = schedule.board.model;
    let mut loads: BTreeMap<(Min, usize), Draft> = BTreeMap::new();
    for unit in unplaced(units, &schedule) {
        let flasks = &units[usize::from(unit)].flasks;
        let Some((kiln, start)) =
            flasks.first().and_then(|&flask| model.flasks[usize::from(flask)].accepted)
        else {
            continue;
        };
        let empty = || Draft { kiln, delay: start, ..Draft::default() };
        let draft = loads.entry((start, kiln)).or_insert_with(empty);
        draft.units.push(unit);
        draft.derive(model, units);
        if !draft.possible(model, floors, units) {
            draft.units.pop();
            draft.derive(model, units);
        }
    }
    for draft in loads.into_values().filter(|draft| !draft.units.is_empty()) {
        schedule.add(draft);
    }
    schedule
}
