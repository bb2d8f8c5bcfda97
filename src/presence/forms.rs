//! What is typed about somebody's days away.

use crate::clock::Day;
use crate::studio::Away;
use crate::web::Form;

/// The longest absence that is taken, in days.
const MOST_DAYS: i32 = 366;

/// Somebody is not there from one day to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct AwayForm {
    pub(super) kind: Away,
    pub(super) from: Day,
    pub(super) to: Day,
}

impl AwayForm {
    /// Reads the form; without a first day it begins today, without a last one it is one day.
    pub(super) fn read(form: &mut Form, today: Day) -> Option<Self> {
        let kind = match form.value("kind") {
            "away" => Away::Away,
            _ => Away::Ill,
        };
        let from = form.day_or_none("from");
        let to = form.day_or_none("until");
        let from = from.unwrap_or(today);
        let to = to.unwrap_or(from);
        if to < today {
            form.wrong("until", "This day has passed. Choose today or a later one.");
        }
        if to < from {
            form.wrong("until", "The last day lies before the first one.");
        }
        if to > from.plus_days(MOST_DAYS) {
            form.wrong(
                "until",
                "That is more than a year. Enter a year, and more when it is near.",
            );
        }
        form.good().then_some(Self { kind, from, to })
    }
}

/// The page from which it was said, and to which it leads back.
pub(super) fn back(form: &Form) -> &'static str {
    match form.value("back") {
        "plan" => "/plan#away",
        "people" => "/people",
        _ => "/presence",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        Day(text.parse().unwrap())
    }

    #[test]
    fn one_tap_is_ill_today_and_a_day_that_has_passed_is_told_at_its_field() {
        let today = day("2026-11-25");
        let tap = AwayForm::read(&mut Form::parse(b"kind=ill"), today);
        assert_eq!(tap, Some(AwayForm { kind: Away::Ill, from: today, to: today }));
        let mut past = Form::parse(b"kind=ill&until=2026-11-24");
        assert_eq!(AwayForm::read(&mut past, today), None);
        assert!(past.error("until").is_some_and(|words| words.contains("has passed")));
        let mut turned = Form::parse(b"kind=away&from=2026-12-09&until=2026-12-02");
        assert_eq!(AwayForm::read(&mut turned, today), None);
        assert!(turned.error("until").is_some_and(|words| words.contains("before the first")));
        let mut nonsense = Form::parse(b"kind=ill&until=tomorrow");
        assert_eq!(AwayForm::read(&mut nonsense, today), None);
    }
}
