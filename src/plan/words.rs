//! Why a flask is left out of a plan, with the studio's dates.

use foundry::plan::Reason;

use super::grid::Grid;
use crate::clock::Day;

/// A minute as day and time.
pub(super) fn at(minute: i64, grid: &Grid) -> String {
    grid.wall(minute).strftime("%a %-d %b %H:%M").to_string()
}

/// The planner's words with the studio's days in place of its minutes.
pub(super) fn dated(words: &str, grid: &Grid) -> String {
    const MINUTE: &str = "minute ";
    let mut parts = words.split(MINUTE);
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let digits = part.find(|c: char| !c.is_ascii_digit()).unwrap_or(part.len());
        match part[..digits].parse() {
            Ok(minute) => {
                if let Some(before) = out.strip_suffix("at ") {
                    out = format!("{before}on ");
                }
                out.push_str(&at(minute, grid));
            }
            Err(_) => out.push_str(&format!("{MINUTE}{}", &part[..digits])),
        }
        out.push_str(&part[digits..]);
    }
    out
}

/// A day with its weekday.
pub(super) fn day(day: Day) -> String {
    day.0.strftime("%a %-d %b").to_string()
}

/// The reason as a sentence's end, after the flask's name.
pub(super) fn left_out(reason: &Reason, grid: &Grid) -> String {
    let at = |minute: i64| at(minute, grid);
    match *reason {
        Reason::WindowClosed { ready_min, latest_min } => format!(
            "it may go into a kiln from {} on, but its investment had to be fired from {} on at the latest; look at it, and give it up or set a later latest start",
            at(ready_min),
            at(latest_min)
        ),
        Reason::NoStart { from_min, to_min } => format!(
            "even alone in a kiln no firing fits: between {} and {} no start in working hours leads to a pour in working hours within the longest hold. Longer hours, another programme or a longer hold would help",
            at(from_min),
            at(to_min)
        ),
        Reason::NoRoom { from_min, to_min } => format!(
            "beside the other flasks no place was found for it: kilns and furnace are taken in every working hour from {} to {}",
            at(from_min),
            at(to_min)
        ),
        ref other => dated(&other.to_string(), grid),
    }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::clock::Moment;

    #[test]
    fn reasons_name_days_and_times_of_the_studio() {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        let grid = Grid::from(Moment("2026-11-25T09:00:00Z".parse().unwrap()), zone);
        let reason = Reason::NoStart { from_min: 3_480, to_min: 6_360 };
        let words = left_out(&reason, &grid);
        assert!(words.contains("between Wed 25 Nov 10:00 and Fri 27 Nov 10:00"), "{words}");
        assert_eq!(
            dated("kiln A at minute 3480 is full since minute 3480, a minute ago", &grid),
            "kiln A on Wed 25 Nov 10:00 is full since Wed 25 Nov 10:00, a minute ago"
        );
        assert_eq!(left_out(&Reason::NoKiln, &grid), "it is forbidden in every kiln");
    }
}
