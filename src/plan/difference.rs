//! What is different between two plans of the same studio.

use std::collections::{BTreeMap, HashMap};

use foundry::plan::Plan;

use super::grid::Grid;
use crate::clock::Moment;

/// Where a flask stands in a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) kiln: String,
    pub(super) starts: Moment,
    pub(super) pour: Moment,
}

/// A flask that stands elsewhere, or is poured at another time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Changed {
    pub(super) flask: String,
    pub(super) before: Option<Place>,
    pub(super) after: Option<Place>,
}

/// All that is different.
#[derive(Clone, Debug, Default)]
pub(super) struct Difference {
    pub(super) changed: Vec<Changed>,
    /// How many flasks stand the same.
    pub(super) same: usize,
    /// After less before: weighted minutes late, loads, minutes of the last pour.
    pub(super) late_min: i64,
    pub(super) loads: i64,
    pub(super) end_min: i64,
    /// Minutes of heating in dear hours, where they are told.
    pub(super) dear_min: i64,
}

fn places(plan: &Plan, grid: &Grid) -> BTreeMap<(usize, String), Place> {
    let pours: HashMap<&str, i64> =
        plan.pours.iter().map(|pour| (pour.flask.as_str(), pour.start_min)).collect();
    let mut places = BTreeMap::new();
    for load in &plan.loads {
        let starts = grid.moment(load.start_min);
        for placed in &load.flasks {
            let Some(&pour_min) = pours.get(placed.flask.as_str()) else { continue };
            // Numbers in order of their size.
            let key = (placed.flask.len(), placed.flask.clone());
            places.insert(
                key,
                Place { kiln: load.kiln.clone(), starts, pour: grid.moment(pour_min) },
            );
        }
    }
    places
}

impl Difference {
    /// From one plan to another; their minutes may count from different days.
    pub(super) fn between(before: (&Plan, &Grid), after: (&Plan, &Grid)) -> Self {
        let (old, new) = (places(before.0, before.1), places(after.0, after.1));
        let mut difference = Self::default();
        let keys: std::collections::BTreeSet<_> = old.keys().chain(new.keys()).collect();
        for key in keys {
            let (one, other) = (old.get(key), new.get(key));
            if one == other {
                difference.same += 1;
            } else {
                difference.changed.push(Changed {
                    flask: key.1.clone(),
                    before: one.cloned(),
                    after: other.cloned(),
                });
            }
        }
        let (a, b) = (before.0.objective, after.0.objective);
        difference.late_min = b.weighted_tardiness - a.weighted_tardiness;
        difference.loads = b.loads - a.loads;
        let end = |plan: &Plan, grid: &Grid| grid.moment(plan.objective.makespan_min);
        if !before.0.pours.is_empty() && !after.0.pours.is_empty() {
            difference.end_min = end(after.0, after.1).minutes_since(end(before.0, before.1));
        }
        difference
    }

    /// The cost of the change in a sentence.
    pub(super) fn words(&self) -> String {
        let late = match self.late_min {
            0 => "nothing is later or earlier against its due date".to_owned(),
            more if more > 0 => format!("{} more late in all", span(more)),
            less => format!("{} less late in all", span(-less)),
        };
        let loads = match self.loads {
            0 => "as many loads".to_owned(),
            1 => "one load more".to_owned(),
            -1 => "one load fewer".to_owned(),
            more if more > 0 => format!("{more} loads more"),
            fewer => format!("{} loads fewer", -fewer),
        };
        let end = match self.end_min {
            0 => "the last pour ends when it did".to_owned(),
            later if later > 0 => format!("the last pour ends {} later", span(later)),
            earlier => format!("the last pour ends {} earlier", span(-earlier)),
        };
        let dear = match self.dear_min {
            0 => String::new(),
            more if more > 0 => format!(", {} more of heating in dear hours", span(more)),
            less => format!(", {} less of heating in dear hours", span(-less)),
        };
        format!("{late}, {loads}, {end}{dear}")
    }
}

/// Minutes as days, hours or minutes, in full.
pub(super) fn span(minutes: i64) -> String {
    let plural = |n: i64, one: &str, many: &str| {
        if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
    };
    if minutes >= 2880 {
        plural(minutes / 1440, "day", "days")
    } else if minutes >= 120 {
        plural(minutes / 60, "hour", "hours")
    } else {
        plural(minutes, "minute", "minutes")
    }
}
