//! Counting in minutes in which somebody is there.

use crate::plan::Calendar;

/// A calendar without an hour for so many days is taken to have none.
const MOST_DAYS: i64 = 3_660;

/// Staffed minutes between two minutes; 0 when the second is not after the first.
#[must_use]
pub fn staffed_from(calendar: &Calendar, from_min: i64, to_min: i64) -> i64 {
    if to_min <= from_min {
        return 0;
    }
    (from_min.div_euclid(1440)..=to_min.div_euclid(1440).min(from_min.div_euclid(1440) + MOST_DAYS))
        .flat_map(|day| calendar.on(day).iter().map(move |open| (day * 1440, open)))
        .map(|(midnight, open)| {
            ((midnight + open.to_min).min(to_min) - (midnight + open.from_min).max(from_min)).max(0)
        })
        .sum()
}

/// The first minute by which so many staffed minutes have passed; with none to pass, the first
/// minute from this one on at which somebody is there. None when nobody ever is.
#[must_use]
pub fn staffed_until(calendar: &Calendar, from_min: i64, minutes: i64) -> Option<i64> {
    let mut left = minutes.max(0);
    let first = from_min.div_euclid(1440);
    for day in first..first + MOST_DAYS {
        for open in calendar.on(day) {
            let begin = (day * 1440 + open.from_min).max(from_min);
            let end = day * 1440 + open.to_min;
            if begin >= end {
                continue;
            }
            // At the very end of an interval nobody takes up the next thing.
            if begin + left < end || (left > 0 && begin + left == end) {
                return Some(begin + left);
            }
            left -= end - begin;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Staffed;

    fn weekdays() -> Calendar {
        let mut calendar = Calendar::default();
        for day in &mut calendar.week[..5] {
            *day = vec![
                Staffed { from_min: 480, to_min: 720 },
                Staffed { from_min: 780, to_min: 1080 },
            ];
        }
        calendar.closed_days = vec![1];
        calendar
    }

    #[test]
    fn minutes_are_counted_over_breaks_weekends_and_closed_days() {
        let calendar = weekdays();
        assert_eq!(staffed_from(&calendar, 700, 800), 40);
        // Monday whole, Tuesday closed.
        assert_eq!(staffed_from(&calendar, 0, 2 * 1440), 540);
        assert_eq!(staffed_from(&calendar, -7 * 1440, 0), 5 * 540);
        assert_eq!(staffed_from(&calendar, 800, 700), 0);
    }

    #[test]
    fn going_forward_undoes_counting() {
        let calendar = weekdays();
        assert_eq!(staffed_until(&calendar, 0, 0), Some(480));
        assert_eq!(staffed_until(&calendar, 720, 0), Some(780));
        assert_eq!(staffed_until(&calendar, 500, 220), Some(720));
        assert_eq!(staffed_until(&calendar, 500, 221), Some(781));
        // Friday evening to Monday.
        assert_eq!(staffed_until(&calendar, 4 * 1440 + 1079, 2), Some(7 * 1440 + 481));
        for minutes in [1, 17, 300, 2_000, 9_999] {
            let until = staffed_until(&calendar, 333, minutes).unwrap();
            assert_eq!(staffed_from(&calendar, 333, until), minutes);
        }
        assert_eq!(staffed_until(&Calendar::default(), 0, 1), None);
    }
}
