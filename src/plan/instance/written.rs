//! Flasks, kilns and hours in the written form of a problem. No SQL.

use foundry::plan::MOST_MINUTES;

use super::view::{FlaskRow, KilnRow};
use super::{AFTER_POUR_MIN, Grid};
use crate::clock::{Day, Moment};
use crate::json::plan::{CalendarJson, FlaskJson, KilnJson, RewetJson, SpecialDayJson, WeekJson};
use crate::studio::Week;

/// Wetting a flask again counts like so many minutes late: work, and a mould that is the worse
/// for it. Assumed.
const REWET_MIN: i64 = 480;
/// A tree that is weighed or being mixed for is in its flask by then.
const UNTIL_MIXED_MIN: i64 = 60;

/// A minute that can be planned with: a date mistyped by a century must not stop the rest.
pub(super) fn within(minute: i64) -> i64 {
    minute.clamp(0, MOST_MINUTES)
}

pub(super) fn flask_json(
    flask: &FlaskRow,
    grid: &Grid,
    week: &Week,
    now: Moment,
    horizon: i64,
) -> FlaskJson {
    let set_from = flask
        .set_from_at
        .unwrap_or_else(|| now.plus_minutes(UNTIL_MIXED_MIN + i64::from(flask.bench_set_min)));
    // One that is not mixed yet is mixed when its load comes; it cannot have stood too long.
    let latest = flask.latest_start_at.filter(|_| !flask.is_under_way());
    FlaskJson {
        id: flask.number.to_string(),
        diameter_mm: flask.diameter_mm.into(),
        height_mm: flask.height_mm.into(),
        size_class: flask.size_class.clone(),
        family: flask.family.clone(),
        ready_min: within(grid.minute(set_from)),
        latest_start_min: latest.map(|latest| within(grid.minute(latest))),
        cast_temp_c: flask.flask_c.round() as i64,
        alloy: flask.alloy.clone(),
        lead_min: within(AFTER_POUR_MIN + finishing_on_the_clock(flask.finishing_min, week)),
        due_min: flask.due_on.map_or(horizon, |day| due_min(day, grid, week)),
        weight: flask.pieces.max(1),
    }
}

/// Flasks that have set may start later than their investment allows if they are wetted again.
pub(super) fn rewet(flasks: &[FlaskRow], horizon: i64) -> Vec<RewetJson> {
    flasks
        .iter()
        .filter(|flask| flask.latest_start_at.is_some() && !flask.is_under_way())
        .map(|flask| RewetJson {
            flask: flask.number.to_string(),
            until_min: horizon,
            minutes: REWET_MIN,
        })
        .collect()
}

pub(super) fn due_min(day: Day, grid: &Grid, week: &Week) -> i64 {
    within(i64::from(grid.day_number(day)) * 1440 + last_staffed(week))
}

/// The last minute of the day at which somebody is there on any day; orders are due by then.
fn last_staffed(week: &Week) -> i64 {
    week.hours.iter().flatten().map(|(_, to)| i64::from(*to)).max().unwrap_or(1080)
}

/// Bench minutes take longer on the clock: only a part of the week is staffed.
pub(super) fn finishing_on_the_clock(minutes: i64, week: &Week) -> i64 {
    let staffed: i64 = week.hours.iter().flatten().map(|(from, to)| i64::from(to - from)).sum();
    if staffed == 0 { minutes } else { minutes * 10_080 / staffed }
}

pub(super) fn calendar(week: &Week, grid: &Grid) -> CalendarJson {
    let written = |hours: &[(i32, i32)]| {
        hours.iter().map(|(from, to)| [i64::from(*from), i64::from(*to)]).collect::<Vec<_>>()
    };
    let [mon, tue, wed, thu, fri, sat, sun] = std::array::from_fn(|day| written(&week.hours[day]));
    // Days before the first and those nobody will plan for do not count.
    let number = |day: Day| {
        let number = i64::from(grid.day_number(day));
        (0..=MOST_MINUTES / 1440).contains(&number).then_some(number)
    };
    CalendarJson {
        week: WeekJson { mon, tue, wed, thu, fri, sat, sun },
        closed_days: week.closed.iter().filter_map(|(day, _)| number(*day)).collect(),
        special_days: week
            .special
            .iter()
            .filter_map(|(day, hours)| {
                Some(SpecialDayJson { day: number(*day)?, hours: written(hours) })
            })
            .collect(),
    }
}

pub(super) fn kiln_json(row: &KilnRow, grid: &Grid) -> KilnJson {
    KilnJson {
        id: row.name.clone(),
        width_mm: row.width_mm.into(),
        depth_mm: row.depth_mm.into(),
        height_mm: row.height_mm.into(),
        cool_min_per_100c: row.cool_min_per_100c.into(),
        turnaround_min: row.turnaround_min.into(),
        available_min: row.free_at.map_or(0, |at| within(grid.minute(at))),
    }
}
