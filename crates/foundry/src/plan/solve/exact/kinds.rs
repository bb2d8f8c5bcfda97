//! Which flasks may share a load.

use crate::plan::calendar::Min;
use crate::plan::floor::Floors;
use crate::plan::model::Model;
use crate::plan::solve::draft::{Draft, Unit, UnitNo};

use super::kind::Kind;
use super::{Mask, Place};

/// All kinds of loads.
#[derive(Debug)]
pub(super) struct Kinds {
    all: Vec<Kind>,
    /// Their numbers by set.
    by_mask: Vec<Option<usize>>,
    members: Vec<UnitNo>,
    ready: Vec<Min>,
    latest: Vec<Min>,
}

/// The members of a set.
fn of_mask(members: &[UnitNo], mask: Mask) -> impl Iterator<Item = UnitNo> {
    members.iter().enumerate().filter(move |(n, _)| mask >> n & 1 == 1).map(|(_, unit)| *unit)
}

impl Kinds {
    pub(super) fn new(
        model: &Model,
        floors: &mut Floors,
        units: &[Unit],
        members: &[UnitNo],
    ) -> Self {
        let sets = 1_usize << members.len();
        let unit = |unit: UnitNo| &units[usize::from(unit)];
        let (mut all, mut by_mask) = (Vec::new(), vec![None; sets]);
        // The kilns each set may go into, as bits: no more than its parts may.
        let mut kilns = vec![u64::MAX; sets];
        for mask in 1..sets {
            let without_last = mask & (mask - 1);
            let without_first = mask & !(1 << mask.ilog2());
            let own: Vec<UnitNo> = of_mask(members, mask as Mask).collect();
            let mut may = kilns[without_last] & kilns[without_first];
            let place = pinned(own.iter().map(|&one| unit(one).place));
            match place {
                // Pinned to different loads.
                Err(()) => may = 0,
                Ok(Some((kiln, _))) => may &= 1 << kiln,
                Ok(None) => {}
            }
            let place = place.ok().flatten();
            let mut draft =
                Draft { units: own, exactly: place.map(|place| place.1), ..Draft::default() };
            for kiln in 0..model.kilns.len() {
                if may >> kiln & 1 == 1 {
                    draft.kiln = kiln;
                    draft.derive(model, units);
                    may &= !(u64::from(!draft.possible(model, floors, units)) << kiln);
                }
            }
            may &= (1 << model.kilns.len()) - 1;
            kilns[mask] = may;
            // Whoever is pinned to the load is in it.
            let complete = place.is_none()
                || (0..members.len())
                    .all(|n| mask >> n & 1 == 1 || unit(members[n]).place != place);
            if may != 0 && complete {
                by_mask[mask] = Some(all.len());
                let flasks =
                    draft.units.iter().flat_map(|&one| unit(one).flasks.iter().copied()).collect();
                all.push(Kind::new(model, flasks, mask as Mask, may, place));
            }
        }
        let exactly = |one: &UnitNo| unit(*one).place.map(|place| place.1);
        let ready = members.iter().map(|one| exactly(one).unwrap_or(unit(*one).ready)).collect();
        let latest = members.iter().map(|one| exactly(one).unwrap_or(unit(*one).latest)).collect();
        Self { all, by_mask, members: members.to_vec(), ready, latest }
    }

    /// The units of a set.
    pub(super) fn members(&self, mask: Mask) -> impl Iterator<Item = UnitNo> {
        of_mask(&self.members, mask)
    }

    pub(super) fn kind(&self, number: usize) -> &Kind {
        &self.all[number]
    }

    /// The kind of a set, if it may go into a kiln.
    pub(super) fn of_mask(&self, mask: Mask, kiln: usize) -> Option<usize> {
        self.by_mask[usize::from(mask)].filter(|&number| self.all[number].kilns >> kiln & 1 == 1)
    }

    /// When the first of some flasks is ready.
    pub(super) fn first_ready(&self, of: Mask) -> Min {
        least_of(&self.ready, of).unwrap_or(Min::MIN)
    }

    /// The first of the latest starts of some flasks.
    pub(super) fn first_latest(&self, of: Mask) -> Min {
        least_of(&self.latest, of).unwrap_or(Min::MAX)
    }
}

/// The one place to which some units are pinned, if any is.
fn pinned(mut places: impl Iterator<Item = Option<Place>>) -> Result<Option<Place>, ()> {
    places.try_fold(None, |known: Option<Place>, place| match (known, place) {
        (Some(one), Some(other)) if one != other => Err(()),
        _ => Ok(known.or(place)),
    })
}

fn least_of(times: &[Min], of: Mask) -> Option<Min> {
    let times = times.iter().enumerate();
    times.filter(|(n, _)| of >> n & 1 == 1).map(|(_, at)| *at).min()
}
