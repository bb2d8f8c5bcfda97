//! The studio as it stands, as a planning problem.

use serde_json::{Value, json};
use sqlx::{FromRow, PgPool};

use super::grid::Grid;
use crate::clock::{Day, Moment};
use crate::id::{FlaskId, KilnLoadId};
use crate::kiln_loads::LoadState;
use crate::kilns::SegmentKind;
use crate::studio::{Settings, Week};
use crate::web::Fault;

/// How far ahead is planned.
const DAYS_AHEAD: i64 = 35;
/// From the pour until the castings can be worked on: cool, quench, divest, cut off.
const AFTER_POUR_MIN: i64 = 90;
/// Wetting a flask again counts like so many minutes late: work, and a mould that is the worse
/// for it. Assumed.
const REWET_MIN: i64 = 480;
/// A tree that is weighed or being mixed for is in its flask by then.
const UNTIL_MIXED_MIN: i64 = 60;

#[derive(Debug, FromRow)]
struct FlaskRow {
    id: FlaskId,
    number: i32,
    diameter_mm: i32,
    height_mm: i32,
    size_class: String,
    family: String,
    flask_c: f64,
    alloy: String,
    set_from_at: Option<Moment>,
    latest_start_at: Option<Moment>,
    bench_set_min: i32,
    finishing_min: i64,
    pieces: i64,
    due_on: Option<Day>,
    load: Option<KilnLoadId>,
    load_state: Option<LoadState>,
}

#[derive(Debug, FromRow)]
struct KilnRow {
    name: String,
    width_mm: i32,
    depth_mm: i32,
    height_mm: i32,
    cool_min_per_100c: i32,
    turnaround_min: i32,
    free_at: Option<Moment>,
}

#[derive(Debug, FromRow)]
struct UnderWayRow {
    id: KilnLoadId,
    kiln: String,
    started_at: Moment,
}

/// A planning problem and the calendar it counts in.
#[derive(Debug)]
pub(super) struct Instance {
    pub(super) grid: Grid,
    pub(super) json: Value,
    /// Flasks that are free to be planned.
    pub(super) waiting: usize,
}

/// Reads the studio.
pub(super) async fn read(pool: &PgPool, now: Moment) -> Result<Instance, Fault> {
    read_ahead(pool, now, DAYS_AHEAD).await
}

/// Reads the studio for a plan so many days ahead.
pub(super) async fn read_ahead(pool: &PgPool, now: Moment, days: i64) -> Result<Instance, Fault> {
    let settings = Settings::load(pool).await?;
    let zone = settings.zone();
    let under_way: Vec<UnderWayRow> = sqlx::query_as(
        "SELECT l.id, k.name AS kiln, l.started_at FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         WHERE l.state IN ('burning', 'held') ORDER BY l.started_at",
    )
    .fetch_all(pool)
    .await?;
    let first =
        under_way.iter().map(|load| load.started_at).min().map_or(now, |started| started.min(now));
    let grid = Grid::from(first, zone);
    let week = Week::load(pool, grid.day_zero).await?;
    let flasks = flasks(pool).await?;
    let horizon = grid.minute(now) + days * 1440;
    let waiting = flasks.iter().filter(|flask| !is_under_way(flask)).count();
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
        "kilns": kilns(pool, &grid).await?,
        "families": families(pool).await?,
        "incompatible": incompatible(pool).await?,
        "flasks": flasks.iter().map(|flask| flask_json(flask, &grid, &week, now, horizon)).collect::<Vec<_>>(),
        "decisions": {
            "not_before_min": grid.minute(now),
            "pins": pins(pool, &grid).await?,
            "under_way": under_way_json(pool, &under_way, &flasks, &grid).await?,
            "out_of_use": outages(pool, &grid, now).await?,
            "rewet": rewet(&flasks, horizon),
        },
    });
    Ok(Instance { grid, json, waiting })
}

fn is_under_way(flask: &FlaskRow) -> bool {
    matches!(flask.load_state, Some(LoadState::Burning | LoadState::Held))
}

async fn flasks(pool: &PgPool) -> Result<Vec<FlaskRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, f.number, t.diameter_mm, t.height_mm, t.size_class, b.name AS family, f.flask_c,
                a.name AS alloy, f.set_from_at, f.latest_start_at, i.bench_set_min,
                coalesce(on_it.finishing_min, 0) AS finishing_min, coalesce(on_it.pieces, 0) AS pieces, on_it.due_on,
                l.id AS load, l.state AS load_state
         FROM flasks f JOIN flask_types t ON t.id = f.flask_type_id JOIN burnout_families b ON b.id = f.family_id
         JOIN alloys a ON a.id = f.alloy_id JOIN investments i ON i.id = f.investment_id
         LEFT JOIN LATERAL (
             SELECT count(*) AS pieces, sum(ol.finishing_minutes)::bigint AS finishing_min, min(o.due_on) AS due_on
             FROM flask_pieces fp JOIN attempts x ON x.id = fp.attempt_id JOIN pieces p ON p.id = x.piece_id
             JOIN orders o ON o.id = p.order_id JOIN order_lines ol ON ol.id = p.order_line_id
             WHERE fp.flask_id = f.id AND fp.left_at IS NULL
         ) on_it ON true
         LEFT JOIN kiln_load_flasks lf ON lf.flask_id = f.id AND lf.left_at IS NULL
         LEFT JOIN kiln_loads l ON l.id = lf.kiln_load_id
         WHERE f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot')
            OR (f.state = 'poured' AND l.state IN ('burning', 'held'))
         ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

fn flask_json(flask: &FlaskRow, grid: &Grid, week: &Week, now: Moment, horizon: i64) -> Value {
    let set_from = flask
        .set_from_at
        .unwrap_or_else(|| now.plus_minutes(UNTIL_MIXED_MIN + i64::from(flask.bench_set_min)));
    // One that is not mixed yet is mixed when its load comes; it cannot have stood too long.
    let latest = flask.latest_start_at.map(|latest| grid.minute(latest).max(0));
    let due = flask
        .due_on
        .map_or(horizon, |day| i64::from(grid.day_number(day)) * 1440 + last_staffed(week));
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
        "due_min": due.max(0),
        "weight": flask.pieces.max(1),
    });
    if let (Some(latest), false) = (latest, is_under_way(flask)) {
        json["latest_start_min"] = json!(latest);
    }
    json
}

/// Flasks that have set may start later than their investment allows if they are wetted again.
fn rewet(flasks: &[FlaskRow], horizon: i64) -> Vec<Value> {
    flasks
        .iter()
        .filter(|flask| flask.latest_start_at.is_some() && !is_under_way(flask))
        .map(|flask| {
            json!({ "flask": flask.number.to_string(), "until_min": horizon, "minutes": REWET_MIN })
        })
        .collect()
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
    json!({
        "week": {
            "mon": day(0), "tue": day(1), "wed": day(2), "thu": day(3), "fri": day(4), "sat": day(5), "sun": day(6),
        },
        "closed_days": week.closed.iter().map(|(day, _)| grid.day_number(*day)).filter(|n| *n >= 0).collect::<Vec<_>>(),
    })
}

async fn kilns(pool: &PgPool, grid: &Grid) -> Result<Vec<Value>, sqlx::Error> {
    let rows: Vec<KilnRow> = sqlx::query_as(
        "SELECT k.name, k.width_mm, k.depth_mm, k.height_mm, k.cool_min_per_100c, k.turnaround_min,
                (SELECT max(l.ended_at) + make_interval(mins => k.turnaround_min) FROM kiln_loads l
                 WHERE l.kiln_id = k.id AND l.state = 'ended') AS free_at
         FROM kilns k WHERE k.retired_at IS NULL ORDER BY k.name",
    )
    .fetch_all(pool)
    .await?;
    let kiln = |row: KilnRow| {
        json!({
            "id": row.name,
            "width_mm": row.width_mm,
            "depth_mm": row.depth_mm,
            "height_mm": row.height_mm,
            "cool_min_per_100c": row.cool_min_per_100c,
            "turnaround_min": row.turnaround_min,
            "available_min": row.free_at.map_or(0, |at| grid.minute(at).max(0)),
        })
    };
    Ok(rows.into_iter().map(kiln).collect())
}

async fn families(pool: &PgPool) -> Result<Vec<Value>, sqlx::Error> {
    let rows: Vec<(String, String, SegmentKind, i32)> = sqlx::query_as(
        "SELECT b.name, s.size_class, s.kind, s.minutes FROM burnout_families b
         JOIN programme_segments s ON s.family_id = b.id ORDER BY b.name, s.size_class, s.n",
    )
    .fetch_all(pool)
    .await?;
    let mut families: Vec<Value> = Vec::new();
    for (family, size_class, kind, minutes) in rows {
        if families.last().is_none_or(|last| last["id"] != family) {
            families.push(json!({ "id": family, "programmes": {} }));
        }
        let Some(last) = families.last_mut() else { continue };
        let segment = json!([if kind == SegmentKind::Ramp { "ramp" } else { "hold" }, minutes]);
        match last["programmes"][&size_class]["segments"].as_array_mut() {
            Some(segments) => segments.push(segment),
            None => last["programmes"][&size_class] = json!({ "segments": [segment] }),
        }
    }
    Ok(families)
}

async fn incompatible(pool: &PgPool) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.name, b.name FROM incompatible_families i
         JOIN burnout_families a ON a.id = i.one_id JOIN burnout_families b ON b.id = i.other_id ORDER BY 1, 2",
    )
    .fetch_all(pool)
    .await
}

async fn pins(pool: &PgPool, grid: &Grid) -> Result<Vec<Value>, sqlx::Error> {
    let rows: Vec<(i32, String, Moment)> = sqlx::query_as(
        "SELECT f.number, k.name, p.start_at FROM plan_pins p JOIN flasks f ON f.id = p.flask_id
         JOIN kilns k ON k.id = p.kiln_id WHERE f.state IN ('weighed', 'mixing', 'setting') ORDER BY f.number",
    )
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(flask, kiln, at)| json!({ "flask": flask.to_string(), "kiln": kiln, "start_min": grid.minute(at) }))
        .collect())
}

async fn under_way_json(
    pool: &PgPool,
    loads: &[UnderWayRow],
    flasks: &[FlaskRow],
    grid: &Grid,
) -> Result<Vec<Value>, sqlx::Error> {
    let mut out = Vec::with_capacity(loads.len());
    for load in loads {
        let members: Vec<&FlaskRow> =
            flasks.iter().filter(|flask| flask.load == Some(load.id)).collect();
        if members.is_empty() {
            continue;
        }
        let ids: Vec<FlaskId> = members.iter().map(|flask| flask.id).collect();
        let poured: Vec<(i32, Moment)> = sqlx::query_as(
            "SELECT f.number, p.poured_at FROM pours p JOIN flasks f ON f.id = p.flask_id WHERE f.id = ANY($1)",
        )
        .bind(ids)
        .fetch_all(pool)
        .await?;
        out.push(json!({
            "kiln": load.kiln,
            "start_min": grid.minute(load.started_at),
            "flasks": members.iter().map(|flask| flask.number.to_string()).collect::<Vec<_>>(),
            "poured": poured.iter().map(|(flask, at)| json!({ "flask": flask.to_string(), "start_min": grid.minute(*at) })).collect::<Vec<_>>(),
        }));
    }
    Ok(out)
}

async fn outages(pool: &PgPool, grid: &Grid, now: Moment) -> Result<Vec<Value>, sqlx::Error> {
    let rows: Vec<(String, Moment, Moment)> = sqlx::query_as(
        "SELECT k.name, o.from_at, o.to_at FROM kiln_outages o JOIN kilns k ON k.id = o.kiln_id
         WHERE o.to_at > $1 AND k.retired_at IS NULL ORDER BY o.from_at",
    )
    .bind(now)
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(kiln, from, to)| json!({ "kiln": kiln, "from_min": grid.minute(from).max(0), "to_min": grid.minute(to) }))
        .collect())
}
