//! A year in weeks: how long each kiln is taken, what is poured and what is due. No SQL.

use std::collections::{HashMap, HashSet};

use jiff::tz::TimeZone;
use sqlx::FromRow;

use super::grid::Grid;
use crate::clock::{Day, Moment};
use crate::json::plan::PlanJson;
use crate::studio::Week;

/// So many weeks are shown.
pub(super) const WEEKS: usize = 53;
/// The table ends after the last week with something in it, and not before so many.
const LEAST_WEEKS: usize = 8;

/// A load in a kiln: from loading to the end of its last pour.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Taken {
    pub(super) kiln: String,
    pub(super) from_at: Moment,
    pub(super) to_at: Moment,
    pub(super) flasks: i64,
    /// Not begun yet.
    pub(super) planned: bool,
}

/// A kiln in a week.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Cell {
    /// Loads that begin in the week.
    pub(super) loads: usize,
    pub(super) flasks: i64,
    /// The part of the week in which a load is in the kiln.
    pub(super) share: f64,
}

impl Cell {
    pub(super) fn words(&self) -> String {
        let plural = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
        let flasks = usize::try_from(self.flasks).unwrap_or(0);
        format!("{}, {}", plural(self.loads, "load"), plural(flasks, "flask"))
    }
}

/// A week.
#[derive(Clone, Debug)]
pub(super) struct YearWeek {
    pub(super) monday: Day,
    pub(super) kilns: Vec<Cell>,
    /// Orders that are due.
    pub(super) due: usize,
    /// Hours in which somebody is there.
    pub(super) staffed_min: i64,
}

impl YearWeek {
    fn is_empty(&self) -> bool {
        self.due == 0 && self.kilns.iter().all(|cell| cell.loads == 0 && cell.share == 0.0)
    }
}

/// A year.
#[derive(Clone, Debug)]
pub(super) struct Year {
    pub(super) weeks: Vec<YearWeek>,
}

impl Year {
    pub(super) fn new(
        first: Day,
        kilns: &[String],
        taken: &[Taken],
        hours: &Week,
        due: &[(Day, i64)],
        zone: &TimeZone,
    ) -> Self {
        let number: HashMap<&str, usize> =
            kilns.iter().enumerate().map(|(n, kiln)| (kiln.as_str(), n)).collect();
        let mut weeks: Vec<YearWeek> = (0..WEEKS)
            .map(|n| {
                let monday = first.plus_days(i32::try_from(n * 7).unwrap_or(0));
                let staffed = (0..7).flat_map(|day| hours.on(monday.plus_days(day)));
                YearWeek {
                    monday,
                    kilns: vec![Cell::default(); kilns.len()],
                    due: 0,
                    staffed_min: staffed.map(|(from, to)| i64::from(to - from)).sum(),
                }
            })
            .collect();
        // Mondays' midnights, one more than there are weeks.
        let edges: Vec<Moment> = (0..=WEEKS)
            .map(|n| first.plus_days(i32::try_from(n * 7).unwrap_or(0)).start_in(zone))
            .collect();
        for load in taken {
            let Some(&kiln) = number.get(load.kiln.as_str()) else { continue };
            // The last week that begins by then; loads from before the first week fill it only.
            let begins = edges.partition_point(|edge| *edge <= load.from_at);
            for (n, week) in weeks.iter_mut().enumerate().skip(begins.saturating_sub(1)) {
                let (from, to) = (edges[n], edges[n + 1]);
                if from >= load.to_at && from > load.from_at {
                    break;
                }
                let cell = &mut week.kilns[kiln];
                if (from..to).contains(&load.from_at) {
                    cell.loads += 1;
                    cell.flasks += load.flasks;
                }
                let both = load.to_at.min(to).seconds_since(load.from_at.max(from));
                cell.share += both.max(0) as f64 / to.seconds_since(from) as f64;
            }
        }
        for (day, orders) in due {
            let week = (day.0 - first.0).get_days().div_euclid(7);
            if let Some(week) = usize::try_from(week).ok().and_then(|n| weeks.get_mut(n)) {
                week.due += usize::try_from(*orders).unwrap_or(0);
            }
        }
        Self { weeks }
    }

    /// The weeks up to the last with something in it.
    pub(super) fn told(&self) -> &[YearWeek] {
        let last = self.weeks.iter().rposition(|week| !week.is_empty()).map_or(0, |n| n + 1);
        &self.weeks[..last.max(LEAST_WEEKS).min(self.weeks.len())]
    }
}

/// The loads of a proposal that have not begun.
pub(super) fn from_plan(
    plan: &PlanJson,
    waiting: &[(i32, bool)],
    grid: &Grid,
    pour_min: i64,
) -> Vec<Taken> {
    let waiting: HashSet<String> = waiting.iter().map(|(number, _)| number.to_string()).collect();
    let pours: HashMap<&str, i64> =
        plan.pours.iter().map(|pour| (pour.flask.as_str(), pour.start_min)).collect();
    plan.loads
        .iter()
        .filter(|load| load.flasks.iter().all(|one| waiting.contains(&one.id)))
        .map(|load| {
            let last = load.flasks.iter().filter_map(|one| pours.get(one.id.as_str())).max();
            Taken {
                kiln: load.kiln.clone(),
                from_at: grid.moment(load.start_min),
                to_at: grid.moment(last.map_or(load.start_min, |last| last + pour_min)),
                flasks: i64::try_from(load.flasks.len()).unwrap_or(0),
                planned: true,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_load_over_the_end_of_a_week_counts_where_it_begins_and_fills_both() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let monday = Day("2026-11-30".parse().unwrap());
        let at = |text: &str| Moment(text.parse().unwrap());
        let mut hours = Week::default();
        hours.hours[0] = vec![(480, 720)];
        let taken = [Taken {
            kiln: "Big".to_owned(),
            // Sunday noon to Monday noon in Berlin.
            from_at: at("2026-12-06T11:00:00Z"),
            to_at: at("2026-12-07T11:00:00Z"),
            flasks: 5,
            planned: true,
        }];
        let due =
            [(Day("2026-12-13".parse().unwrap()), 3), (Day("2030-01-01".parse().unwrap()), 9)];
        let kilns = ["Big".to_owned(), "Small".to_owned()];
        let year = Year::new(monday, &kilns, &taken, &hours, &due, &zone);
        let cell = year.weeks[0].kilns[0];
        assert_eq!((cell.loads, cell.flasks), (1, 5));
        assert!((cell.share - 0.5 / 7.0).abs() < 1e-9);
        assert!((year.weeks[1].kilns[0].share - 0.5 / 7.0).abs() < 1e-9);
        assert_eq!(year.weeks[1].kilns[0].loads, 0);
        assert_eq!((year.weeks[1].due, year.weeks[0].due), (3, 0));
        assert_eq!(year.weeks[0].staffed_min, 240);
        assert_eq!(year.told().len(), LEAST_WEEKS);
        assert_eq!(cell.words(), "1 load, 5 flasks");
    }
}
