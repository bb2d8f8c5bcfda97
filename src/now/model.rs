//! What may be asked of a maker, and in which order.

use crate::clock::{Day, Moment};
use crate::metal::Fume;
use crate::web::Html;

/// What is at stake while something waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Pressing {
    /// Work is lost: slurry sets, a pattern cures too long, a hot flask waits for its pour.
    Lost,
    /// The plan slips: a load starts late, a flask misses it.
    Slips,
    /// A machine or a casting stands idle.
    Idle,
    /// It waits for somebody to begin it.
    Waits,
}

impl Pressing {
    /// Why it comes where it comes.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Lost => "runs out",
            Self::Slips => "the plan needs it",
            Self::Idle => "stands ready",
            Self::Waits => "waits",
        }
    }
}

/// What a step needs to be told beside the tap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// Nothing.
    Nothing,
    /// That the controller's programme was read back.
    ReadBack,
    /// How warm water and powder are.
    Slurry,
}

/// A step recorded by one tap.
#[derive(Clone, Debug)]
pub(super) struct Step {
    /// Where the form goes.
    pub(super) action: String,
    /// What the button says.
    pub(super) words: String,
    /// The version of the thing that was seen.
    pub(super) version: i64,
    pub(super) told: Told,
}

/// Something that asks to be done.
#[derive(Clone, Debug)]
pub(super) struct Ask {
    /// What to do, in the words of a person.
    pub(super) what: String,
    /// The page on which it is done in full.
    pub(super) place: String,
    pub(super) pressing: Pressing,
    /// Not before.
    pub(super) opens: Option<Moment>,
    /// Until then.
    pub(super) closes: Option<Moment>,
    /// The first day on which one of its orders is due.
    pub(super) due_on: Option<Day>,
    /// The figures needed at that moment.
    pub(super) figures: Vec<(&'static str, Html)>,
    /// What the controller is to be set to before it or after it.
    pub(super) controller: Vec<(&'static str, Html)>,
    /// The step, where one tap is enough.
    pub(super) step: Option<Step>,
    /// Where exceptions are picked out.
    pub(super) failed: Option<String>,
    /// What has to be done first; nothing can be recorded before.
    pub(super) after: Option<String>,
    /// Whether nothing is lost once its time has passed: a plate is printed, a kiln holds.
    pub(super) can_wait: bool,
    /// What its end is, before the moment, when that is far off.
    pub(super) ends: &'static str,
    /// What harms, with what to do about it.
    pub(super) cautions: Vec<&'static Fume>,
}

/// How long before its time a thing may be done.
const BEFORE_S: i64 = 120;

impl Ask {
    /// Something to do on a page, without figures.
    pub(super) fn new(what: String, place: String, pressing: Pressing) -> Self {
        Self {
            what,
            place,
            pressing,
            opens: None,
            closes: None,
            due_on: None,
            figures: Vec::new(),
            controller: Vec::new(),
            step: None,
            failed: None,
            after: None,
            can_wait: false,
            ends: "",
            cautions: Vec::new(),
        }
    }

    /// Why it comes where it comes.
    pub(super) fn why(&self, now: &Moment) -> &'static str {
        match self.pressing {
            Pressing::Idle if !self.is_open(now) => "to come",
            pressing => pressing.words(),
        }
    }

    /// Whether its time has come.
    pub(super) fn is_open(&self, now: &Moment) -> bool {
        self.after.is_none() && self.opens.is_none_or(|opens| opens <= now.plus_seconds(BEFORE_S))
    }

    /// Whether its time has passed.
    pub(super) fn is_late(&self, now: &Moment) -> bool {
        !self.can_wait && self.closes.is_some_and(|closes| closes < *now)
    }

    /// Since when it is ready, where nothing is lost by waiting.
    pub(super) fn ready_since(&self, now: &Moment) -> Option<Moment> {
        self.closes.filter(|closes| self.can_wait && closes <= now)
    }

    /// The hours until then, when they are too many to be counted in seconds.
    pub(super) fn hours_off(&self, now: &Moment) -> Option<i64> {
        let left = self.counts_to(now)?.seconds_since(*now);
        (left >= 24 * 3600).then_some((left + 1800) / 3600)
    }

    /// The moment its clock counts to.
    pub(super) fn counts_to(&self, now: &Moment) -> Option<Moment> {
        if self.is_open(now) { self.closes } else { self.opens }
    }
}

/// What can be done now, the most pressing first, and what is still to open, the next first.
pub(super) fn in_order(asks: Vec<Ask>, now: Moment) -> (Vec<Ask>, Vec<Ask>) {
    let (mut open, mut later): (Vec<Ask>, Vec<Ask>) =
        asks.into_iter().partition(|ask| ask.is_open(&now));
    // What has no end comes after everything that has one.
    open.sort_by_key(|ask| {
        (ask.pressing, ask.closes.is_none(), ask.closes, ask.due_on.is_none(), ask.due_on)
    });
    later.sort_by_key(|ask| (ask.opens, ask.pressing));
    (open, later)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ask(what: &str, pressing: Pressing, opens: Option<i64>, closes: Option<i64>) -> Ask {
        let at = |minutes| Moment::default().plus_minutes(minutes);
        Ask {
            opens: opens.map(at),
            closes: closes.map(at),
            ..Ask::new(what.to_owned(), String::new(), pressing)
        }
    }

    fn words(asks: &[Ask]) -> Vec<&str> {
        asks.iter().map(|ask| ask.what.as_str()).collect()
    }

    #[test]
    fn what_is_lost_soonest_comes_first_and_what_has_not_opened_waits() {
        let asks = vec![
            ask("lay out a plate", Pressing::Waits, None, None),
            ask("take the plate off", Pressing::Idle, Some(-300), Some(-300)),
            ask("start the load", Pressing::Slips, Some(-5), Some(15)),
            ask("pour", Pressing::Lost, None, Some(180)),
            ask("fill the flask", Pressing::Lost, None, Some(4)),
            ask("out of the wash", Pressing::Lost, Some(10), Some(10)),
            ask("take the cure out", Pressing::Lost, Some(2), Some(2)),
            ask("mix", Pressing::Slips, None, None),
        ];
        let (open, later) = in_order(asks, Moment::default());
        assert_eq!(
            words(&open),
            [
                "take the cure out",
                "fill the flask",
                "pour",
                "start the load",
                "mix",
                "take the plate off",
                "lay out a plate"
            ]
        );
        assert_eq!(words(&later), ["out of the wash"]);
    }

    #[test]
    fn what_can_wait_is_ready_and_not_late() {
        let printed = |can_wait| Ask {
            can_wait,
            ..ask("take the plate off", Pressing::Idle, Some(-300), Some(-300))
        };
        let now = Moment::default();
        assert_eq!(printed(true).ready_since(&now), Some(now.plus_minutes(-300)));
        assert!(!printed(true).is_late(&now));
        assert_eq!(printed(true).ready_since(&now.plus_minutes(-301)), None);
        assert_eq!(printed(false).ready_since(&now), None);
        assert!(printed(false).is_late(&now));
    }

    #[test]
    fn of_two_that_wait_the_one_due_first_comes_first() {
        let day = |text: &str| Some(Day(text.parse().unwrap()));
        let mut asks = vec![
            ask("no date", Pressing::Waits, None, None),
            ask("in May", Pressing::Waits, None, None),
            ask("in April", Pressing::Waits, None, None),
        ];
        asks[1].due_on = day("2026-05-01");
        asks[2].due_on = day("2026-04-01");
        let (open, _) = in_order(asks, Moment::default());
        assert_eq!(words(&open), ["in April", "in May", "no date"]);
    }
}
