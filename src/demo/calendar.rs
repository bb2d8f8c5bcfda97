//! The invented studio's days: everything it did, it did while somebody was there.

use jiff::tz::TimeZone;

use crate::clock::{Day, Moment};
use crate::studio::Week;

/// Days and hours of the studio, counted back from now.
pub(super) struct Calendar {
    week: Week,
    zone: TimeZone,
    now: Moment,
    /// The latest day from Monday to Friday on which somebody has come.
    newest: Day,
}

/// No studio is closed for longer; where nobody ever comes, the search ends here.
const LONGEST_CLOSED_DAYS: i32 = 30;

/// So much longer somebody stays to get something done.
const OVERTIME_MIN: i64 = 20;

impl Calendar {
    pub(super) fn new(week: Week, zone: TimeZone, now: Moment) -> Self {
        let newest = now.day_in(&zone);
        let mut calendar = Self { week, zone, now, newest };
        while !is_weekday(calendar.newest) || calendar.opens(calendar.newest) > now {
            calendar.newest = calendar.newest.plus_days(-1);
        }
        calendar
    }

    /// A time of day on a day from Monday to Friday, so many of them ago.
    pub(super) fn on(&self, back: i32, hour: i8, minute: i8) -> Moment {
        self.moment(self.workday(back), i32::from(hour) * 60 + i32::from(minute))
    }

    fn workday(&self, back: i32) -> Day {
        let mut day = self.newest;
        for _ in 0..back {
            day = day.plus_days(-1);
            while !is_weekday(day) {
                day = day.plus_days(-1);
            }
        }
        day
    }

    /// The day of a moment.
    pub(super) fn day(&self, moment: Moment) -> Day {
        moment.day_in(&self.zone)
    }

    /// Today.
    pub(super) fn today(&self) -> Day {
        self.day(self.now)
    }

    fn moment(&self, day: Day, minute: i32) -> Moment {
        let (hour, minute) = (minute / 60, minute % 60);
        let wall = day.0.at(hour as i8, minute as i8, 0, 0);
        Moment(self.zone.to_ambiguous_timestamp(wall).compatible().unwrap_or_default())
    }

    /// From when until when somebody is there on a day, in stretches.
    fn stretches(&self, day: Day) -> Vec<(Moment, Moment)> {
        let hours = self.week.on(day).iter();
        hours.map(|(from, to)| (self.moment(day, *from), self.moment(day, *to))).collect()
    }

    /// When the first comes on a day; its end when nobody does.
    pub(super) fn opens(&self, day: Day) -> Moment {
        self.stretches(day)
            .first()
            .map_or_else(|| day.plus_days(1).start_in(&self.zone), |(from, _)| *from)
    }

    /// When the last leaves on a day; its beginning when nobody is there.
    pub(super) fn closes(&self, day: Day) -> Moment {
        self.stretches(day).last().map_or_else(|| day.start_in(&self.zone), |(_, to)| *to)
    }

    /// Whether somebody is there now, and has been for so many minutes.
    pub(super) fn at_work(&self, minutes: i64) -> bool {
        let now = self.now;
        self.stretches(self.today())
            .iter()
            .any(|(from, to)| from.plus_minutes(minutes) <= now && now < *to)
    }

    /// A moment while somebody is there, else when the next one comes.
    pub(super) fn next_open(&self, at: Moment) -> Moment {
        let day = self.day(at);
        for days in 0..LONGEST_CLOSED_DAYS {
            for (from, to) in self.stretches(day.plus_days(days)) {
                if at < to {
                    return at.max(from);
                }
            }
        }
        at
    }

    /// From when on somebody can work on something for so many minutes on the same day, with a
    /// little overtime.
    pub(super) fn room_for(&self, at: Moment, minutes: i64) -> Moment {
        let at = self.next_open(at);
        let closes = self.closes(self.day(at));
        if at.plus_minutes(minutes - OVERTIME_MIN) <= closes { at } else { self.next_open(closes) }
    }

    /// The moment with so many minutes in which somebody was there between it and now.
    pub(super) fn before(&self, minutes: i64) -> Moment {
        let mut left = minutes;
        for days in 0..LONGEST_CLOSED_DAYS {
            for (from, to) in self.stretches(self.today().plus_days(-days)).into_iter().rev() {
                let to = to.min(self.now);
                let there = to.minutes_since(from);
                if there >= left {
                    return to.plus_minutes(-left);
                }
                left -= there.max(0);
            }
        }
        self.now
    }

    /// The latest day on which somebody has been there for half an hour.
    pub(super) fn current(&self) -> Day {
        self.day(self.before(30))
    }

    /// The day before with somebody there.
    pub(super) fn day_before(&self, day: Day) -> Day {
        let mut before = day.plus_days(-1);
        for _ in 0..LONGEST_CLOSED_DAYS {
            if !self.stretches(before).is_empty() {
                break;
            }
            before = before.plus_days(-1);
        }
        before
    }
}

fn is_weekday(day: Day) -> bool {
    day.0.weekday().to_monday_zero_offset() < 5
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Eight to twelve and one to six, on Saturdays nine to one.
    fn calendar(now: &str) -> Calendar {
        let mut week = Week::default();
        for day in 0..5 {
            week.hours[day] = vec![(480, 720), (780, 1080)];
        }
        week.hours[5] = vec![(540, 780)];
        Calendar::new(week, TimeZone::UTC, at(now))
    }

    fn at(text: &str) -> Moment {
        Moment(text.parse().unwrap())
    }

    #[test]
    fn hours_are_counted_back_over_nights_and_weekends() {
        // A Monday, ten minutes after it began; the last hours before it are Saturday's.
        let monday = calendar("2026-11-30T08:10:00Z");
        assert_eq!(monday.before(4), at("2026-11-30T08:06:00Z"));
        assert_eq!(monday.before(20), at("2026-11-28T12:50:00Z"));
        assert_eq!(monday.day(monday.before(30)), monday.current());
        assert_eq!(monday.opens(monday.current()), at("2026-11-28T09:00:00Z"));
        assert_eq!(monday.closes(monday.day_before(monday.current())), at("2026-11-27T18:00:00Z"));
        assert!(monday.at_work(10) && !monday.at_work(11));
    }

    #[test]
    fn weekdays_are_counted_from_the_last_that_began() {
        for (now, newest) in [
            ("2026-11-30T08:10:00Z", "2026-11-30T09:00:00Z"),
            ("2026-11-30T03:00:00Z", "2026-11-27T09:00:00Z"),
            ("2026-11-29T14:00:00Z", "2026-11-27T09:00:00Z"),
            ("2026-11-28T11:00:00Z", "2026-11-27T09:00:00Z"),
        ] {
            assert_eq!(calendar(now).on(0, 9, 0), at(newest), "{now}");
        }
        assert_eq!(calendar("2026-11-30T08:10:00Z").on(6, 9, 0), at("2026-11-20T09:00:00Z"));
    }

    #[test]
    fn who_is_late_comes_in_the_next_hours() {
        let calendar = calendar("2026-11-30T12:00:00Z");
        for (late, next) in [
            ("2026-11-28T13:00:00Z", "2026-11-30T08:00:00Z"),
            ("2026-11-27T12:30:00Z", "2026-11-27T13:00:00Z"),
            ("2026-11-27T15:00:00Z", "2026-11-27T15:00:00Z"),
        ] {
            assert_eq!(calendar.next_open(at(late)), at(next), "{late}");
        }
        let evening = at("2026-11-27T17:20:00Z");
        assert_eq!(calendar.room_for(evening, 55), evening);
        assert_eq!(calendar.room_for(evening, 65), at("2026-11-28T09:00:00Z"));
    }
}
