//! Plans that begin like one search's best and end like the other's: what is far apart in time
//! hardly touches, and each search may have found the better plan of another week.

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;

use super::super::board::Timing;
use super::super::draft::{Draft, Unit, UnitNo};
use super::super::schedule::Schedule;

/// Where more units than these are in neither part the two do not go together.
const MOST_IN_NEITHER: usize = 4;
/// Weighted tardiness that a new load counts for a unit in neither part.
const LOAD_WORTH: i64 = 50;

/// The best schedule that begins like one and ends like another, cut before any load of either.
pub(super) fn crossed<'m>(
    floors: &mut Floors,
    units: &[Unit],
    early: &Schedule<'m>,
    late: &Schedule<'m>,
) -> Option<Schedule<'m>> {
    let both = early.loads.iter().chain(&late.loads);
    let mut cuts: Vec<Min> = both.map(|(_, timing)| timing.start).collect();
    cuts.sort_unstable();
    cuts.dedup();
    let joined = cuts.iter().filter_map(|&cut| joined(floors, units, early, late, cut));
    joined.min_by_key(Schedule::cost)
}

/// The loads of one schedule before a minute, and those of another from then on without the units
/// that are there already; units in neither are put where they cost least.
fn joined<'m>(
    floors: &mut Floors,
    units: &[Unit],
    early: &Schedule<'m>,
    late: &Schedule<'m>,
    cut: Min,
) -> Option<Schedule<'m>> {
    let model = early.board.model;
    let mut is_here = vec![false; units.len()];
    let mut loads: Vec<(Draft, Timing)> = Vec::new();
    let begin = early.loads.iter().filter(|(draft, at)| draft.is_settled() || at.start < cut);
    let end = late.loads.iter().filter(|(draft, at)| !draft.is_settled() && at.start >= cut);
    for (draft, timing) in begin.chain(end) {
        let (mut draft, all) = (draft.clone(), draft.units.len());
        draft.units.retain(|&unit| !std::mem::replace(&mut is_here[usize::from(unit)], true));
        // A load that stays whole keeps how its pours give way to those of others.
        if draft.units.len() < all {
            if draft.units.is_empty() {
                continue;
            }
            draft.derive(model, units);
        }
        loads.push((draft, timing.clone()));
    }
    let neither: Vec<UnitNo> =
        (0..units.len() as UnitNo).filter(|&unit| !is_here[usize::from(unit)]).collect();
    if neither.len() > MOST_IN_NEITHER {
        return None;
    }
    loads.sort_by_key(|(draft, timing)| (draft.exactly.is_none(), timing.start, draft.kiln));
    let mut whole = Schedule::new(model);
    for (draft, timing) in loads {
        if draft.under_way {
            whole.put(draft, timing);
        } else if !whole.add(draft) {
            return None;
        }
    }
    for unit in neither {
        if !whole.insert(floors, units, unit, LOAD_WORTH, false) {
            whole.waiting.push(unit);
        }
    }
    Some(whole)
}
