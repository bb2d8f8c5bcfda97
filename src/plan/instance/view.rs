//! What a planning problem reads: no other SQL makes it.

use sqlx::{FromRow, PgPool};
use uuid::Uuid;

use crate::clock::{Day, Moment};
use crate::id::KilnLoadId;
use crate::kiln_loads::LoadState;
use crate::kilns::{FilledFlask, SegmentKind};

#[derive(Debug, FromRow)]
pub(super) struct FlaskRow {
    pub(super) number: i32,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) size_class: String,
    pub(super) family: String,
    pub(super) flask_c: f64,
    pub(super) alloy: String,
    pub(super) set_from_at: Option<Moment>,
    pub(super) latest_start_at: Option<Moment>,
    pub(super) bench_set_min: i32,
    pub(super) finishing_min: i64,
    pub(super) pieces: i64,
    pub(super) due_on: Option<Day>,
    pub(super) load: Option<KilnLoadId>,
    pub(super) load_state: Option<LoadState>,
}

impl FlaskRow {
    pub(super) fn is_under_way(&self) -> bool {
        matches!(self.load_state, Some(LoadState::Burning | LoadState::Held))
    }
}

pub(super) async fn flasks(pool: &PgPool) -> Result<Vec<FlaskRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, t.diameter_mm, t.height_mm, t.size_class, b.name AS family, f.flask_c,
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

#[derive(Debug, FromRow)]
pub(super) struct KilnRow {
    pub(super) id: Uuid,
    pub(super) name: String,
    pub(super) width_mm: i32,
    pub(super) depth_mm: i32,
    pub(super) height_mm: i32,
    pub(super) cool_min_per_100c: i32,
    pub(super) turnaround_min: i32,
    pub(super) free_at: Option<Moment>,
}

/// The kilns in use, and those that were given up but still hold a load.
pub(super) async fn kilns(pool: &PgPool) -> Result<Vec<KilnRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT k.id, k.name, k.width_mm, k.depth_mm, k.height_mm, k.cool_min_per_100c, k.turnaround_min,
                (SELECT max(l.ended_at) + make_interval(mins => k.turnaround_min) FROM kiln_loads l
                 WHERE l.kiln_id = k.id AND l.state = 'ended') AS free_at
         FROM kilns k WHERE k.retired_at IS NULL
            OR EXISTS (SELECT 1 FROM kiln_loads l WHERE l.kiln_id = k.id AND l.state IN ('burning', 'held'))
         ORDER BY k.name",
    )
    .fetch_all(pool)
    .await
}

/// A kind of flask that is filled for a family.
#[derive(Debug, FromRow)]
pub(super) struct FlaskKindRow {
    pub(super) family: String,
    pub(super) size_class: String,
    #[sqlx(flatten)]
    pub(super) filled: FilledFlask,
}

/// The kinds of flasks in use, filled with the wettest investment of each family's kind.
pub(super) async fn flask_kinds(pool: &PgPool) -> Result<Vec<FlaskKindRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT b.name AS family, t.size_class, t.diameter_mm, t.height_mm, t.wall_mm, max(i.water_per_100) AS water_per_100
         FROM burnout_families b JOIN investments i ON i.kind = b.investment_kind AND i.retired_at IS NULL
         CROSS JOIN flask_types t WHERE t.retired_at IS NULL GROUP BY b.id, t.id",
    )
    .fetch_all(pool)
    .await
}

/// How full a kiln was of late.
#[derive(Debug, FromRow)]
pub(super) struct UsualRow {
    pub(super) kiln: String,
    pub(super) loads: i64,
    /// Diameter squared times height of all flasks of its fullest load.
    pub(super) fullest_mm3: f64,
}

/// How full kilns were in their last loads.
pub(super) async fn usual(pool: &PgPool) -> Result<Vec<UsualRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT k.name AS kiln, count(*) AS loads, max(x.bulk_mm3) AS fullest_mm3
         FROM kilns k CROSS JOIN LATERAL (
             SELECT (SELECT coalesce(sum(t.diameter_mm::float8 ^ 2 * t.height_mm), 0) FROM kiln_load_flasks lf
                     JOIN flasks f ON f.id = lf.flask_id JOIN flask_types t ON t.id = f.flask_type_id
                     WHERE lf.kiln_load_id = l.id AND (lf.left_at IS NULL OR lf.left_at >= l.started_at)) AS bulk_mm3
             FROM kiln_loads l WHERE l.kiln_id = k.id AND l.started_at IS NOT NULL
             ORDER BY l.planned_start_at DESC LIMIT 20) x
         WHERE k.retired_at IS NULL GROUP BY k.id",
    )
    .fetch_all(pool)
    .await
}

/// A segment of a programme.
#[derive(Debug, FromRow)]
pub(super) struct SegmentRow {
    pub(super) family: String,
    pub(super) size_class: String,
    pub(super) kind: SegmentKind,
    pub(super) minutes: i32,
    pub(super) target_c: f64,
}

pub(super) async fn segments(pool: &PgPool) -> Result<Vec<SegmentRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT b.name AS family, s.size_class, s.kind, s.minutes, s.target_c FROM burnout_families b
         JOIN programme_segments s ON s.family_id = b.id ORDER BY b.name, s.size_class, s.n",
    )
    .fetch_all(pool)
    .await
}

pub(super) async fn incompatible(pool: &PgPool) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.name, b.name FROM incompatible_families i
         JOIN burnout_families a ON a.id = i.one_id JOIN burnout_families b ON b.id = i.other_id ORDER BY 1, 2",
    )
    .fetch_all(pool)
    .await
}

/// Pins of flasks that wait: flask, kiln, start.
pub(super) async fn pins(pool: &PgPool) -> Result<Vec<(i32, String, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, k.name, p.start_at FROM plan_pins p JOIN flasks f ON f.id = p.flask_id
         JOIN kilns k ON k.id = p.kiln_id
         WHERE f.state IN ('weighed', 'mixing', 'setting') AND k.retired_at IS NULL ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

/// A load that burns or is held.
#[derive(Debug, FromRow)]
pub(super) struct UnderWayRow {
    pub(super) id: KilnLoadId,
    pub(super) number: i32,
    pub(super) kiln: String,
    pub(super) started_at: Moment,
    pub(super) held_at: Option<Moment>,
}

pub(super) async fn under_way(pool: &PgPool) -> Result<Vec<UnderWayRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.id, l.number, k.name AS kiln, l.started_at, l.held_at FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         WHERE l.state IN ('burning', 'held') ORDER BY l.started_at",
    )
    .fetch_all(pool)
    .await
}

/// Pours that have happened, of loads that burn or are held.
pub(super) async fn poured(pool: &PgPool) -> Result<Vec<(i32, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, p.poured_at FROM pours p JOIN flasks f ON f.id = p.flask_id
         JOIN kiln_loads l ON l.id = p.kiln_load_id WHERE l.state IN ('burning', 'held')",
    )
    .fetch_all(pool)
    .await
}

/// Times at which a kiln in use is out of use, that are not over.
pub(super) async fn outages(
    pool: &PgPool,
    now: Moment,
) -> Result<Vec<(String, Moment, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT k.name, o.from_at, o.to_at FROM kiln_outages o JOIN kilns k ON k.id = o.kiln_id
         WHERE o.to_at > $1 AND k.retired_at IS NULL ORDER BY o.from_at",
    )
    .bind(now)
    .fetch_all(pool)
    .await
}
