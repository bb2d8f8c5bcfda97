//! Between the studio's calendar and the planner's minutes.

use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use crate::clock::{Day, Moment};

/// The planner counts minutes of the wall clock from midnight of a Monday.
///
/// On the two days a year when clocks change, a firing that runs through the
/// change ends an hour off on the wall; the plan is then made again.
#[derive(Clone, Debug)]
pub struct Grid {
    /// The Monday from which minutes are counted.
    pub day_zero: Day,
    zone: TimeZone,
}

impl Grid {
    /// Counts from the Monday on or before `first`.
    pub fn from(first: Moment, zone: TimeZone) -> Self {
        let day = first.day_in(&zone);
        let back = i32::from(day.0.weekday().to_monday_zero_offset());
        Self { day_zero: day.plus_days(-back), zone }
    }

    /// Counts from a day that is known to be a Monday.
    pub fn on(day_zero: Day, zone: TimeZone) -> Self {
        Self { day_zero, zone }
    }

    /// The minute of a moment, rounded up: what is ready in half a minute is ready in one.
    pub fn minute(&self, moment: Moment) -> i64 {
        let wall = self.zone.to_datetime(moment.0);
        let days = i64::from(self.day_number(Day(wall.date())));
        let seconds = i64::from(wall.hour()) * 3600
            + i64::from(wall.minute()) * 60
            + i64::from(wall.second());
        days * 1440 + (seconds + 59).div_euclid(60)
    }

    /// How many days after day zero.
    pub fn day_number(&self, day: Day) -> i32 {
        (day.0 - self.day_zero.0).get_days()
    }

    /// What the wall clock shows at a minute.
    pub fn wall(&self, minute: i64) -> DateTime {
        let day = self.day_zero.plus_days(i32::try_from(minute.div_euclid(1440)).unwrap_or(0));
        let rest = minute.rem_euclid(1440);
        day.0.at((rest / 60) as i8, (rest % 60) as i8, 0, 0)
    }

    /// The moment of a minute.
    pub fn moment(&self, minute: i64) -> Moment {
        let moment = self.zone.to_ambiguous_timestamp(self.wall(minute)).compatible();
        Moment(moment.unwrap_or(jiff::Timestamp::UNIX_EPOCH))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_and_moments_are_each_others_inverse_on_ordinary_days() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let now = Moment("2026-11-25T09:00:00Z".parse().unwrap());
        let grid = Grid::from(now, zone);
        assert_eq!(grid.day_zero.to_string(), "2026-11-23");
        assert_eq!(grid.minute(now), 2 * 1440 + 600);
        assert_eq!(grid.moment(grid.minute(now)), now);
    }

    #[test]
    fn working_hours_stay_where_the_wall_clock_has_them_when_clocks_change() {
        // Clocks in Berlin go back on Sunday 25 October 2026.
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let grid = Grid::on(Day("2026-10-19".parse().unwrap()), zone);
        let monday_eight = grid.moment(7 * 1440 + 480);
        assert_eq!(monday_eight.to_string(), "2026-10-26T07:00:00Z");
        assert_eq!(grid.minute(monday_eight), 7 * 1440 + 480);
    }
}
