//! A few loads at a time planned anew and through to the end, the others staying where they are.
//!
//! # Source
//! Large neighbourhood search: P. Shaw, "Using constraint programming and local search methods to
//! solve vehicle routing problems", CP 1998, LNCS 1520, 417.

use crate::plan::floor::Floors;
use crate::plan::model::Model;
use crate::random::Random;

use super::draft::{Unit, UnitNo};
use super::exact::Exact;
use super::schedule::Schedule;

/// At most so many flasks are planned anew at once, a few more or less each time.
const MOST_FREE: std::ops::RangeInclusive<usize> = 5..=8;
/// Nodes after which the loads are left as they are.
const NODES: usize = 300;

/// Chooses loads and plans them anew.
pub(super) struct Polish {
    random: Random,
}

impl Polish {
    pub(super) fn new(seed: u64) -> Self {
        Self { random: Random::new(seed) }
    }

    /// Plans a few loads near each other in time anew: a better schedule, if there is one.
    pub(super) fn step<'m>(
        &mut self,
        model: &'m Model,
        floors: &mut Floors,
        units: &[Unit],
        best: &Schedule<'m>,
    ) -> Option<Schedule<'m>> {
        let (members, stays) = self.some_loads(best)?;
        let mut exact = Exact::new(model, floors, units, &members, stays)?;
        exact.advance(NODES, Some(best.cost().value()), units)
    }

    /// The members of a few loads, and the schedule without them.
    fn some_loads<'m>(&mut self, best: &Schedule<'m>) -> Option<(Vec<UnitNo>, Schedule<'m>)> {
        let near = best.near_in_time(&mut self.random);
        let most = MOST_FREE.start() + self.random.below(MOST_FREE.count());
        let mut members = Vec::new();
        let mut chosen = Vec::new();
        for load in near {
            let own = &best.loads[load].0.units;
            if members.len() + own.len() > most {
                // A load that is passed over now and then lets others be seen together.
                if self.random.below(2) == 0 {
                    break;
                }
                continue;
            }
            members.extend_from_slice(own);
            chosen.push(load);
        }
        if chosen.len() < 2 {
            return None;
        }
        let mut stays = best.clone();
        chosen.sort_unstable();
        for load in chosen.into_iter().rev() {
            stays.remove(load);
        }
        members.sort_unstable();
        Some((members, stays))
    }
}
