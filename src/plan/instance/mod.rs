//! The studio as it stands, as a planning problem.

mod programmes;
mod rows;

use std::collections::HashMap;

use foundry::plan::Problem;
use serde_json::{Value, json};
use sqlx::PgPool;

use super::grid::Grid;
use super::words;
use crate::clock::{Day, Moment};
use crate::id::KilnLoadId;
use crate::json::plan::read_problem;
use crate::kilns::KilnFacts;
use crate::studio::{Settings, Week};
use crate::web::{Fault, Refused};
use programmes::Programmes;
use rows::{FlaskRow, KilnRow, UnderWayRow};

/// At least so many days ahead are planned,
const LEAST_DAYS: i64 = 35;
/// and at most so many.
const MOST_DAYS: i64 = 366;
/// So many days are left after the last due day, and after the days that flasks take at one a
/// kiln and working day.
const SPARE_DAYS: i64 = 28;
/// Due days are counted back so far; whatever was due before was due then.
const MOST_LATE_DAYS: i64 = 180;
/// From the pour until the castings can be worked on: cool, quench, divest, cut off.
const AFTER_POUR_MIN: i64 = 90;
/// Wetting a flask again counts like so many minutes late: work, and a mould that is the worse
/// for it. Assumed.
const REWET_MIN: i64 = 480;
/// A tree that is weighed or being mixed for is in its flask by then.
const UNTIL_MIXED_MIN: i64 = 60;

/// A planning problem and the calendar it counts in.
#[derive(Debug)]
pub(super) struct Instance {
    pub(super) grid: Grid,
    pub(super) json: Value,
    /// Flasks that are free to be planned.
    pub(super) waiting: usize,
    /// The minute at which each load under way counts as begun.
    pub(super) under_way: HashMap<KilnLoadId, i64>,
    /// What could not be taken as it is, in sentences; the rest is planned.
    pub(super) notes: Vec<String>,
    week: Week,
}

impl Instance {
    /// Work on the clock after a pour, with so many minutes of finishing.
    pub(super) fn lead_min(&self, finishing_min: i64) -> i64 {
        AFTER_POUR_MIN + finishing_on_the_clock(finishing_min, &self.week)
    }

    /// The minute by which something due on a day has to be ready.
    pub(super) fn due_min(&self, day: Day) -> i64 {
        due_min(day, &self.grid, &self.week)
    }

    /// The problem, read.
    pub(super) fn problem(&self) -> Result<Problem, Fault> {
        problem_of(&self.json)
    }
}

/// Reads a written problem; what is wrong with it is somebody's to put right.
pub(super) fn problem_of(json: &Value) -> Result<Problem, Fault> {
    let read = read_problem(&json.to_string());
    Ok(read.map_err(|refusal| Refused::conflict(refusal.to_string()))?.problem)
}

/// Reads the studio, as far ahead as flasks wait and orders are due, up to a year.
pub(super) async fn read(pool: &PgPool, now: Moment) -> Result<Instance, Fault> {
    read_ahead(pool, now, LEAST_DAYS).await
}

/// Reads the studio for a plan of so many days at least.
pub(super) async fn read_ahead(pool: &PgPool, now: Moment, days: i64) -> Result<Instance, Fault> {
    let settings = Settings::load(pool).await?;
    let zone = settings.zone();
    let under_way = rows::under_way(pool).await?;
    let programmes = Programmes::new(rows::segments(pool).await?);
    let (flasks, mut notes) = programmes.known(rows::flasks(pool).await?);
    let began = |load: &UnderWayRow| load.started_at.plus_minutes(-1440);
    let due = flasks.iter().filter_map(|flask| flask.due_on).map(|day| day.start_in(&zone));
    let first = under_way
        .iter()
        .map(began)
        .chain(due.map(|due| due.max(now.plus_minutes(-MOST_LATE_DAYS * 1440))))
        .fold(now, Moment::min);
    let grid = Grid::from(first, zone);
    let week = Week::load(pool, grid.day_zero).await?;
    let kilns = rows::kilns(pool).await?;
    let facts = KilnFacts::list(pool).await?;
    let waiting = flasks.iter().filter(|flask| !flask.is_under_way()).count();
    let now_min = grid.minute(now);
    let days = days.max(days_ahead(&flasks, &grid, now_min, kilns.len()));
    let horizon = now_min + days.min(MOST_DAYS) * 1440;
    let (bans, too_cold) = programmes.bans(&flasks, &kilns, &facts);
    notes.extend(too_cold);
    let (pins, passed) = pins(pool, &flasks, &grid, now_min).await?;
    notes.extend(passed);
    let starts: HashMap<KilnLoadId, i64> = under_way
        .iter()
        .map(|load| {
            let minutes = programmes.longest(flasks.iter().filter(|f| f.load == Some(load.id)));
            (load.id, counts_from(load, &grid, now_min, minutes, i64::from(settings.load_min)))
        })
        .collect();
    let json = json!({
        "schema": crate::json::plan::SCHEMA,
        "id": format!("studio-{now}"),
        "horizon_min": horizon,
        "calendar": calendar(&week, &grid),
        "load_min": settings.load_min,
        "pour_min": settings.pour_min,
        "alloy_change_min": settings.alloy_change_min,
        "max_hold_min": settings.max_hold_min,
        "max_pour_span_min": settings.max_pour_span_min,
        "ramp_limit": settings.ramp_limit,
        "clearance": {
            "flask_mm": settings.flask_clearance_mm,
            "wall_mm": settings.wall_clearance_mm,
            "top_mm": settings.top_clearance_mm,
        },
        "kilns": kilns.iter().map(|kiln| kiln_json(kiln, &grid)).collect::<Vec<_>>(),
        "families": programmes.json(),
        "incompatible": rows::incompatible(pool).await?,
        "flasks": flasks.iter().map(|flask| flask_json(flask, &grid, &week, now, horizon)).collect::<Vec<_>>(),
        "decisions": {
            "not_before_min": now_min,
            "pins": pins,
            "under_way": under_way_json(pool, &under_way, &flasks, &starts, &grid).await?,
            "out_of_use": outages(pool, &grid, now).await?,
            "bans": bans,
            "rewet": rewet(&flasks, horizon),
        },
    });
    Ok(Instance { grid, json, waiting, under_way: starts, notes, week })
}

/// How many days have to be looked at so that every flask that waits has room, and every due
/// day is covered.
fn days_ahead(flasks: &[FlaskRow], grid: &Grid, now_min: i64, kilns: usize) -> i64 {
    let waiting = flasks.iter().filter(|flask| !flask.is_under_way());
    let by_room = waiting.clone().count() as i64 * 7 / 5 / (kilns.max(1) as i64);
    let due = waiting.clone().filter_map(|flask| flask.due_on).max();
    let by_due = due.map_or(0, |day| i64::from(grid.day_number(day)) - now_min / 1440);
    let ready = waiting.filter_map(|flask| flask.set_from_at).max();
    let by_ready = ready.map_or(0, |at| (grid.minute(at) - now_min) / 1440);
    by_room.max(by_due).max(by_ready) + SPARE_DAYS
}

/// The minute at which a load under way counts as begun, so that its programme ends when it does:
/// when it was held, or, while it burns, when it should be held, and not before now.
fn counts_from(
    load: &UnderWayRow,
    grid: &Grid,
    now_min: i64,
    programme_min: i64,
    load_min: i64,
) -> i64 {
    let ends = match load.held_at {
        Some(at) => grid.minute(at),
        None => (grid.minute(load.started_at) + programme_min).max(now_min),
    };
    (ends - programme_min - load_min).max(0)
}

fn flask_json(flask: &FlaskRow, grid: &Grid, week: &Week, now: Moment, horizon: i64) -> Value {
    let set_from = flask
        .set_from_at
        .unwrap_or_else(|| now.plus_minutes(UNTIL_MIXED_MIN + i64::from(flask.bench_set_min)));
    // One that is not mixed yet is mixed when its load comes; it cannot have stood too long.
    let latest = flask.latest_start_at.map(|latest| grid.minute(latest).max(0));
    let due = flask.due_on.map_or(horizon, |day| due_min(day, grid, week));
    let mut json = json!({
        "id": flask.number.to_string(),
        "diameter_mm": flask.diameter_mm,
        "height_mm": flask.height_mm,
        "size_class": flask.size_class,
        "family": flask.family,
        "ready_min": grid.minute(set_from).max(0),
        "cast_temp_c": flask.flask_c.round() as i64,
        "alloy": flask.alloy,
        "lead_min": AFTER_POUR_MIN + finishing_on_the_clock(flask.finishing_min, week),
        "due_min": due,
        "weight": flask.pieces.max(1),
    });
    if let (Some(latest), false) = (latest, flask.is_under_way()) {
        json["latest_start_min"] = json!(latest);
    }
    json
}

/// Flasks that have set may start later than their investment allows if they are wetted again.
fn rewet(flasks: &[FlaskRow], horizon: i64) -> Vec<Value> {
    flasks
        .iter()
        .filter(|flask| flask.latest_start_at.is_some() && !flask.is_under_way())
        .map(|flask| {
            json!({ "flask": flask.number.to_string(), "until_min": horizon, "minutes": REWET_MIN })
        })
        .collect()
}

fn due_min(day: Day, grid: &Grid, week: &Week) -> i64 {
    (i64::from(grid.day_number(day)) * 1440 + last_staffed(week)).max(0)
}

/// The last minute of the day at which somebody is there on any day; orders are due by then.
fn last_staffed(week: &Week) -> i64 {
    week.hours.iter().flatten().map(|(_, to)| i64::from(*to)).max().unwrap_or(1080)
}

/// Bench minutes take longer on the clock: only a part of the week is staffed.
fn finishing_on_the_clock(minutes: i64, week: &Week) -> i64 {
    let staffed: i64 = week.hours.iter().flatten().map(|(from, to)| i64::from(to - from)).sum();
    if staffed == 0 { minutes } else { minutes * 10_080 / staffed }
}

fn calendar(week: &Week, grid: &Grid) -> Value {
    let day =
        |n: usize| week.hours[n].iter().map(|(from, to)| json!([from, to])).collect::<Vec<_>>();
    let special = week.special.iter().map(|(on, hours)| (grid.day_number(*on), hours));
    json!({
        "week": {
            "mon": day(0), "tue": day(1), "wed": day(2), "thu": day(3), "fri": day(4), "sat": day(5), "sun": day(6),
        },
        "closed_days": week.closed.iter().map(|(day, _)| grid.day_number(*day)).filter(|n| *n >= 0).collect::<Vec<_>>(),
        "special_days": special.filter(|(n, _)| *n >= 0).map(|(n, hours)| json!({ "day": n, "hours": hours })).collect::<Vec<_>>(),
    })
}

fn kiln_json(row: &KilnRow, grid: &Grid) -> Value {
    let free = row.free_at.map_or(0, |at| grid.minute(at).max(0));
    json!({
        "id": row.name,
        "width_mm": row.width_mm,
        "depth_mm": row.depth_mm,
        "height_mm": row.height_mm,
        "cool_min_per_100c": row.cool_min_per_100c,
        "turnaround_min": row.turnaround_min,
        "available_min": free,
    })
}

/// Pins that can still be kept, and those whose time has passed, in words.
async fn pins(
    pool: &PgPool,
    flasks: &[FlaskRow],
    grid: &Grid,
    now_min: i64,
) -> Result<(Vec<Value>, Vec<String>), sqlx::Error> {
    let (mut pins, mut passed) = (Vec::new(), Vec::new());
    for (flask, kiln, at) in rows::pins(pool).await? {
        let start_min = grid.minute(at);
        if flasks.iter().all(|known| known.number != flask) {
            continue;
        }
        if start_min < now_min {
            passed.push(format!(
                "Flask {flask} was pinned to {kiln} for {}, which has passed: it is planned freely.",
                words::at(start_min, grid)
            ));
        } else {
            pins.push(json!({ "flask": flask.to_string(), "kiln": kiln, "start_min": start_min }));
        }
    }
    Ok((pins, passed))
}

async fn under_way_json(
    pool: &PgPool,
    loads: &[UnderWayRow],
    flasks: &[FlaskRow],
    starts: &HashMap<KilnLoadId, i64>,
    grid: &Grid,
) -> Result<Vec<Value>, sqlx::Error> {
    let poured = rows::poured(pool).await?;
    Ok(loads
        .iter()
        .filter_map(|load| {
            let members: Vec<i32> = flasks
                .iter()
                .filter(|flask| flask.load == Some(load.id))
                .map(|flask| flask.number)
                .collect();
            let poured: Vec<Value> = poured
                .iter()
                .filter(|(flask, _)| members.contains(flask))
                .map(|(flask, at)| json!({ "flask": flask.to_string(), "start_min": grid.minute(*at) }))
                .collect();
            (!members.is_empty()).then(|| {
                json!({
                    "kiln": load.kiln,
                    "start_min": starts.get(&load.id),
                    "flasks": members.iter().map(ToString::to_string).collect::<Vec<_>>(),
                    "poured": poured,
                })
            })
        })
        .collect())
}

async fn outages(pool: &PgPool, grid: &Grid, now: Moment) -> Result<Vec<Value>, sqlx::Error> {
    let rows = rows::outages(pool, now).await?;
    Ok(rows
        .into_iter()
        .map(|(kiln, from, to)| {
            let from_min = grid.minute(from).max(0);
            json!({ "kiln": kiln, "from_min": from_min, "to_min": grid.minute(to).max(from_min + 1) })
        })
        .collect())
}
