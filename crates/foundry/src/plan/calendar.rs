//! Staffed hours as the solver needs them: when a task of a given length may start.

use super::problem::Calendar;

/// A minute of the planning time.
pub(super) type Min = i32;

/// The minutes at which a task that needs staff throughout may start.
#[derive(Debug, Clone)]
pub(super) struct Starts {
    /// First and last possible start of each staffed interval long enough, in order.
    windows: Vec<(Min, Min)>,
    /// For each day the first window that ends on it or later.
    first_of_day: Vec<u32>,
}

impl Starts {
    /// The starts of a task of this many minutes that ends by `until`.
    pub(super) fn new(calendar: &Calendar, minutes: Min, until: Min) -> Self {
        let mut windows = Vec::new();
        let mut first_of_day = Vec::new();
        for day in 0..=until / 1440 {
            first_of_day.push(windows.len() as u32);
            for open in calendar.on(i64::from(day)) {
                let from = day * 1440 + open.from_min as Min;
                let last = (day * 1440 + open.to_min as Min).min(until) - minutes;
                if last >= from {
                    windows.push((from, last));
                }
            }
        }
        Self { windows, first_of_day }
    }

    /// The first possible start at or after a minute.
    pub(super) fn next(&self, minute: Min) -> Option<Min> {
        let day = (minute.max(0) / 1440) as usize;
        let from = *self.first_of_day.get(day)? as usize;
        self.windows[from..]
            .iter()
            .find(|window| window.1 >= minute)
            .map(|window| window.0.max(minute))
    }

    /// The first and last possible starts from one minute to another, interval by interval.
    pub(super) fn within(&self, from: Min, until: Min) -> impl Iterator<Item = (Min, Min)> {
        let day = (from.max(0) / 1440) as usize;
        let first = self.first_of_day.get(day).map_or(self.windows.len(), |&n| n as usize);
        self.windows[first..]
            .iter()
            .skip_while(move |window| window.1 < from)
            .take_while(move |window| window.0 <= until)
            .map(move |window| (window.0.max(from), window.1.min(until)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::problem::{SpecialDay, Staffed};

    fn mondays() -> Calendar {
        let mut calendar = Calendar::default();
        calendar.week[0] = vec![
            Staffed { from_min: 480, to_min: 720 },
            Staffed { from_min: 765, to_min: 1080 },
            Staffed { from_min: 1080, to_min: 1100 },
        ];
        calendar.closed_days = vec![7];
        calendar
    }

    #[test]
    fn a_task_starts_only_where_it_ends_in_the_same_interval() {
        let starts = Starts::new(&mondays(), 30, 30 * 1440);
        assert_eq!(starts.next(0), Some(480));
        assert_eq!(starts.next(690), Some(690));
        assert_eq!(starts.next(691), Some(765));
        assert_eq!(starts.next(1050), Some(1050));
        // The third interval is too short, the second Monday is closed.
        assert_eq!(starts.next(1051), Some(14 * 1440 + 480));
        assert_eq!(starts.next(29 * 1440), None);
    }

    #[test]
    fn a_day_of_its_own_takes_the_place_of_the_weeks() {
        let mut calendar = mondays();
        let hours = vec![Staffed { from_min: 800, to_min: 900 }];
        calendar.special_days = vec![
            SpecialDay { day: 0, hours: hours.clone() },
            SpecialDay { day: 1, hours: hours.clone() },
            // A closed day stays closed.
            SpecialDay { day: 7, hours },
        ];
        let starts = Starts::new(&calendar, 30, 30 * 1440);
        assert_eq!(starts.next(0), Some(800));
        assert_eq!(starts.next(871), Some(1440 + 800));
        assert_eq!(starts.next(1440 + 871), Some(14 * 1440 + 480));
    }

    #[test]
    fn a_task_ends_by_the_end_of_the_time() {
        let starts = Starts::new(&mondays(), 30, 500);
        assert_eq!(starts.next(0), None);
    }
}
