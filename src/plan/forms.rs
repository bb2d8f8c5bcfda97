//! What people change by hand.

use jiff::tz::TimeZone;

use crate::clock::{Day, Moment};
use crate::id::KilnId;
use crate::web::Form;

/// A flask that is to go into a kiln at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PinForm {
    pub(super) flask: i32,
    pub(super) kiln: KilnId,
    pub(super) start_at: Moment,
}

impl PinForm {
    /// Either a load that is shown (`place` is “kiln|moment”) or a kiln and a time of one's own.
    pub(super) fn read(form: &mut Form, zone: &TimeZone, now: Moment) -> Option<Self> {
        let flask = form.whole("flask", 1, i64::from(i32::MAX))?;
        let shown = form
            .value("place")
            .split_once('|')
            .and_then(|(kiln, at)| Some((kiln.parse().ok()?, Moment(at.parse().ok()?))));
        let (kiln, start_at) = match shown {
            Some(shown) => shown,
            None => {
                let kiln = form.choice("kiln");
                let typed = form.value("start").trim().to_owned();
                let at = typed
                    .parse::<jiff::civil::DateTime>()
                    .ok()
                    .and_then(|wall| zone.to_ambiguous_timestamp(wall).compatible().ok());
                if at.is_none() {
                    form.wrong("start", "A day and a time are needed, such as 2026-11-25 17:00.");
                }
                (kiln?, Moment(at?))
            }
        };
        if start_at < now {
            form.wrong("start", "This lies in the past. Choose a time to come.");
            return None;
        }
        Some(Self { flask: i32::try_from(flask).ok()?, kiln, start_at })
    }
}

/// A kiln that may not be used until the end of a day.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ForbidForm {
    pub(super) kiln: KilnId,
    pub(super) until: Day,
    pub(super) reason: String,
}

impl ForbidForm {
    pub(super) fn read(form: &mut Form, today: Day) -> Option<Self> {
        let kiln = form.choice("kiln");
        let until = form.day("until");
        let reason = form.text("reason", 200);
        if until.is_some_and(|day| day < today) {
            form.wrong("until", "This day has passed. Choose today or a later one.");
        }
        if !form.good() {
            return None;
        }
        Some(Self { kiln: kiln?, until: until?, reason })
    }
}
