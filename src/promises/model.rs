//! What is told of an order's days.

use askama::Template;
use foundry::promise::Forecast;
use serde::{Deserialize, Serialize};

use super::chances::UNLIKELY;
use crate::clock::Day;
use crate::json::working::WorkingJson;
use crate::plan::Grid;
use crate::web::{Html, Plain, Show, working};

/// The chances for which a day is told.
pub(super) const CHANCES: [f64; 4] = [0.5, 0.8, 0.9, 0.95];
/// The chance a promise is meant to have.
const USUAL: f64 = 0.9;

/// The days of an order, or why none can be told.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// Chance and day; none when it lies beyond the time looked at.
    pub(super) days: Vec<(f64, Option<Day>)>,
    /// The usual promise if the order were hurried.
    pub(super) hurried: Option<Day>,
    /// Agreed loads that begin before the hurried pour and might have to give way.
    pub(super) in_the_way: usize,
    /// A day that was asked about, with its chance.
    pub(super) wanted: Option<(Day, f64)>,
    /// What it rests on.
    pub(super) working: WorkingJson,
    /// Why no day can be told; empty when it can.
    pub(super) reason: String,
}

impl Outlook {
    /// Nothing can be told.
    pub(super) fn refused(reason: String) -> Self {
        Self {
            days: Vec::new(),
            hurried: None,
            in_the_way: 0,
            wanted: None,
            working: WorkingJson::default(),
            reason,
        }
    }

    /// The day that may be promised: ready by then nine times in ten.
    #[must_use]
    pub fn usual(&self) -> Option<Day> {
        self.days.iter().find(|(chance, _)| *chance == USUAL).and_then(|(_, day)| *day)
    }

    /// The chance of the day that was asked about.
    #[must_use]
    pub fn wanted_chance(&self) -> Option<f64> {
        self.wanted.map(|(_, chance)| chance)
    }

    /// The day that was asked about with its chance, when it is more likely missed than kept.
    #[must_use]
    pub fn unlikely(&self) -> Option<(Day, f64)> {
        self.wanted.filter(|(_, chance)| *chance < UNLIKELY)
    }

    /// Why no day can be told; empty when it can.
    #[must_use]
    pub fn reason(&self) -> &str {
        &self.reason
    }

    /// Everything told, for a page of the studio.
    #[must_use]
    pub fn html(&self, show: &Show) -> Html {
        let head = match self.usual() {
            Some(day) => Html::escaped(&format!("{} ({})", show.day(day), chance_words(USUAL))),
            None => Html::escaped("no day within the next months"),
        };
        Html::of(&OutlookPart { outlook: self, show, head: working(&head, &self.working) })
    }
}

#[derive(Template)]
#[template(path = "promises/outlook.html")]
struct OutlookPart<'a> {
    outlook: &'a Outlook,
    show: &'a Show,
    head: Html,
}

/// A chance as people say it, never rounded up.
#[must_use]
pub fn chance_words(chance: impl Plain<f64>) -> String {
    let chance = chance.plain();
    // A tenth that was asked for is told as that tenth.
    let tenths = (chance * 10.0 + 1e-9).floor();
    if chance >= 0.99 {
        "99 in 100 or better".to_owned()
    } else if chance >= 0.95 {
        "19 in 20".to_owned()
    } else if tenths < 1.0 {
        "less than 1 in 10".to_owned()
    } else {
        format!("{tenths:.0} in 10")
    }
}

/// The days of a forecast.
pub(super) fn days(forecast: &Forecast, grid: &Grid) -> Vec<(f64, Option<Day>)> {
    CHANCES
        .into_iter()
        .map(|chance| (chance, forecast.ready_by(chance).map(|minute| day_of(grid, minute))))
        .collect()
}

/// The day on which a minute falls.
pub(super) fn day_of(grid: &Grid, minute: i64) -> Day {
    grid.day_zero.plus_days(i32::try_from(minute.div_euclid(1440)).unwrap_or(i32::MAX))
}

/// The last minute of a day.
pub(super) fn end_of(grid: &Grid, day: Day) -> i64 {
    (i64::from(grid.day_number(day)) + 1) * 1440 - 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_are_told_in_tenths_and_never_rounded_up() {
        assert_eq!(chance_words(0.9), "9 in 10");
        assert_eq!(chance_words(0.899), "8 in 10");
        assert_eq!(chance_words(0.949), "9 in 10");
        assert_eq!(chance_words(0.95), "19 in 20");
        assert_eq!(chance_words(0.3), "3 in 10");
        assert_eq!(chance_words(1.0), "99 in 100 or better");
        assert_eq!(chance_words(0.04), "less than 1 in 10");
    }
}
