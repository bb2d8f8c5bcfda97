//! The studio as it stands, as a planning problem.

mod dear;
mod longer;
mod programmes;
mod settled;
mod view;
mod written;

use std::collections::HashMap;

use foundry::plan::{Clearance, Problem};
use sqlx::PgPool;

use super::grid::Grid;
use super::known::KnownKilns;
use crate::clock::{Day, Moment};
use crate::id::KilnLoadId;
use crate::json::plan::{ClearanceJson, DecisionsJson, InstanceJson, SCHEMA, faultless};
use crate::kiln_loads::{Ends, ends_of};
use crate::studio::{Settings, Week};
use crate::tariffs::in_force;
use crate::web::{Fault, Refused};
use programmes::Programmes;
use settled::{outages, pins, under_way_json};
use view::{FlaskRow, UnderWayRow};
use written::{calendar, due_min, finishing_on_the_clock, flask_json, kiln_json, rewet};

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

/// A planning problem and the calendar it counts in.
#[derive(Debug)]
pub(super) struct Instance {
    pub(super) grid: Grid,
    pub(super) written: InstanceJson,
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

    /// The day from which it is planned.
    pub(super) fn today(&self) -> Day {
        Day(self.grid.wall(self.written.decisions.not_before_min).date())
    }

    /// The problem that is written.
    pub(super) fn problem(&self) -> Result<Problem, Fault> {
        problem_of(self.written.clone())
    }
}

/// The problem that is written; what is wrong with it is somebody's to put right.
pub(super) fn problem_of(written: InstanceJson) -> Result<Problem, Fault> {
    faultless(written).map_err(|refusal| Refused::conflict(refusal.to_string()).into())
}

/// Reads the studio, as far ahead as flasks wait and orders are due, up to a year.
pub(super) async fn read(pool: &PgPool, now: Moment) -> Result<Instance, Fault> {
    read_ahead(pool, now, LEAST_DAYS).await
}

/// Reads the studio for a plan of so many days at least.
pub(super) async fn read_ahead(pool: &PgPool, now: Moment, days: i64) -> Result<Instance, Fault> {
    let settings = Settings::load(pool).await?;
    let zone = settings.zone();
    let under_way = view::under_way(pool).await?;
    let programmes = Programmes::new(view::segments(pool).await?);
    let (flasks, mut notes) = programmes.known(view::flasks(pool).await?);
    let began = |load: &UnderWayRow| load.started_at.plus_minutes(-1440);
    let due = flasks.iter().filter_map(|flask| flask.due_on).map(|day| day.start_in(&zone));
    let first = under_way
        .iter()
        .map(began)
        .chain(due.map(|due| due.max(now.plus_minutes(-MOST_LATE_DAYS * 1440))))
        .fold(now, Moment::min);
    let today = now.day_in(&zone);
    let grid = Grid::from(first, zone);
    let week = Week::load(pool, grid.day_zero).await?;
    let kilns = view::kilns(pool).await?;
    let known = KnownKilns::read(pool).await?;
    let waiting = flasks.iter().filter(|flask| !flask.is_under_way()).count();
    let now_min = grid.minute(now);
    let days = days.max(days_ahead(&flasks, &grid, now_min, kilns.len()));
    let horizon = now_min + days.min(MOST_DAYS) * 1440;
    let (bans, too_cold) = programmes.bans(&flasks, &kilns, &known.facts);
    notes.extend(too_cold);
    let (pins, passed) = pins(pool, &flasks, &grid, now_min).await?;
    notes.extend(passed);
    let clearance = ClearanceJson {
        flask_mm: settings.flask_clearance_mm.into(),
        wall_mm: settings.wall_clearance_mm.into(),
        top_mm: settings.top_clearance_mm.into(),
    };
    let free = Clearance {
        flask_mm: clearance.flask_mm,
        wall_mm: clearance.wall_mm,
        top_mm: clearance.top_mm,
    };
    let longer = longer::longer(pool, &kilns, &known, free).await?;
    let numbers: Vec<i32> = under_way.iter().map(|load| load.number).collect();
    let ends = ends_of(pool, &numbers).await?;
    // The minute at which each counts as begun, so that it ends when it does.
    let starts: HashMap<KilnLoadId, i64> = under_way
        .iter()
        .map(|load| {
            let flasks = flasks.iter().filter(|flask| flask.load == Some(load.id));
            let burns_min = programmes.burns_min(&load.kiln, flasks, &longer);
            let ends_min = ends_min(load, ends.get(&load.number), &grid, now_min);
            (load.id, (ends_min - burns_min - i64::from(settings.load_min)).max(0))
        })
        .collect();
    let tariff = in_force(pool, today).await?;
    let decisions = DecisionsJson {
        not_before_min: now_min,
        pins,
        under_way: under_way_json(pool, &under_way, &flasks, &starts, &grid).await?,
        out_of_use: outages(pool, &grid, now).await?,
        bans,
        stability: None,
        dear_hours: tariff.map_or_else(Vec::new, |tariff| {
            dear::hours(&tariff.bands, i64::from(settings.dear_hour_min))
        }),
        rewet: rewet(&flasks, horizon),
        longer,
    };
    let written = InstanceJson {
        schema: SCHEMA.to_owned(),
        id: format!("studio-{now}"),
        horizon_min: horizon,
        calendar: calendar(&week, &grid),
        load_min: settings.load_min.into(),
        pour_min: settings.pour_min.into(),
        alloy_change_min: settings.alloy_change_min.into(),
        max_hold_min: settings.max_hold_min.into(),
        max_pour_span_min: settings.max_pour_span_min.into(),
        ramp_limit: settings.ramp_limit.into(),
        clearance,
        kilns: kilns.iter().map(|kiln| kiln_json(kiln, &grid)).collect(),
        families: programmes.json(),
        incompatible: view::incompatible(pool)
            .await?
            .into_iter()
            .map(<[String; 2]>::from)
            .collect(),
        flasks: flasks.iter().map(|flask| flask_json(flask, &grid, &week, now, horizon)).collect(),
        decisions,
    };
    Ok(Instance { grid, written, waiting, under_way: starts, notes, week })
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

/// The minute at which a load under way was held, or, while it burns, is to be in its kiln, and not
/// before now.
fn ends_min(load: &UnderWayRow, ends: Option<&Ends>, grid: &Grid, now_min: i64) -> i64 {
    match (load.held_at, ends) {
        (Some(at), _) => grid.minute(at),
        (None, Some(ends)) => grid.minute(ends.at).max(now_min),
        (None, None) => now_min,
    }
}
