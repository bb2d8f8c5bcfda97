//! What the plan page reads.

use serde_json::Value;
use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{KilnId, OutageId};

#[derive(Clone, Debug, FromRow)]
pub(super) struct KilnRow {
    pub(super) id: KilnId,
    pub(super) name: String,
    pub(super) width_mm: i32,
    pub(super) depth_mm: i32,
}

pub(super) async fn kilns(pool: &PgPool) -> Result<Vec<KilnRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, width_mm, depth_mm FROM kilns WHERE retired_at IS NULL ORDER BY name",
    )
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct OutageRow {
    pub(super) id: OutageId,
    pub(super) kiln: String,
    pub(super) to_at: Moment,
    pub(super) reason: String,
}

pub(super) async fn outages(pool: &PgPool, now: Moment) -> Result<Vec<OutageRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, k.name AS kiln, o.to_at, o.reason FROM kiln_outages o JOIN kilns k ON k.id = o.kiln_id
         WHERE o.to_at > $1 ORDER BY o.to_at",
    )
    .bind(now)
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct PinRow {
    pub(super) flask: i32,
    pub(super) kiln: String,
    pub(super) start_at: Moment,
}

pub(super) async fn pins(pool: &PgPool) -> Result<Vec<PinRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number AS flask, k.name AS kiln, p.start_at FROM plan_pins p JOIN flasks f ON f.id = p.flask_id
         JOIN kilns k ON k.id = p.kiln_id WHERE f.state IN ('weighed', 'mixing', 'setting') ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

/// A flask that waits for a kiln, or stands in a planned load.
#[derive(Clone, Debug, FromRow)]
pub(super) struct FlaskRow {
    pub(super) number: i32,
    pub(super) alloy: String,
    pub(super) family: String,
    pub(super) size_class: String,
    pub(super) diameter_mm: i32,
    pub(super) height_mm: i32,
    pub(super) wall_mm: f64,
    pub(super) water_per_100: f64,
    pub(super) set_from_at: Option<Moment>,
    pub(super) due_on: Option<Day>,
    pub(super) load: Option<i32>,
    /// Not in the kiln yet.
    pub(super) waiting: bool,
}

pub(super) async fn flasks(pool: &PgPool) -> Result<Vec<FlaskRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, a.name AS alloy, b.name AS family, t.size_class, t.diameter_mm, t.height_mm, t.wall_mm,
                i.water_per_100, f.set_from_at,
                (SELECT min(o.due_on) FROM flask_pieces fp JOIN attempts x ON x.id = fp.attempt_id
                 JOIN pieces p ON p.id = x.piece_id JOIN orders o ON o.id = p.order_id
                 WHERE fp.flask_id = f.id AND fp.left_at IS NULL) AS due_on,
                (SELECT l.number FROM kiln_load_flasks lf JOIN kiln_loads l ON l.id = lf.kiln_load_id
                 WHERE lf.flask_id = f.id AND lf.left_at IS NULL) AS load,
                f.state IN ('weighed', 'mixing', 'setting') AS waiting
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id JOIN burnout_families b ON b.id = f.family_id
         JOIN flask_types t ON t.id = f.flask_type_id JOIN investments i ON i.id = f.investment_id
         WHERE f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot', 'poured') ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct PlanRow {
    pub(super) number: i32,
    pub(super) state: String,
    pub(super) day_zero: Day,
    pub(super) result: Option<Value>,
    pub(super) error: Option<String>,
    pub(super) made_at: Moment,
    /// The change by hand that made it; empty when it was made anew.
    pub(super) change: String,
    /// What had changed when it was made without being asked for.
    pub(super) reasons: sqlx::types::Json<Vec<String>>,
}

/// The newest plan that is being computed, proposed or failed.
pub(super) async fn open_plan(pool: &PgPool) -> Result<Option<PlanRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, state, day_zero, result, error, made_at, change, reasons FROM plans
         WHERE state IN ('computing', 'proposed', 'failed')
           AND NOT EXISTS (SELECT 1 FROM plans later WHERE later.number > plans.number AND later.state = 'accepted')
         ORDER BY number DESC LIMIT 1",
    )
    .fetch_optional(pool)
    .await
}

/// The change that was taken back last and can be made again.
pub(super) async fn redo(
    pool: &PgPool,
    open: Option<&PlanRow>,
) -> Result<Option<String>, sqlx::Error> {
    let open = open.filter(|plan| plan.state == "proposed").map(|plan| plan.number);
    sqlx::query_scalar(
        "SELECT change FROM plans WHERE state = 'undone' AND parent IS NOT DISTINCT FROM $1 ORDER BY number LIMIT 1",
    )
    .bind(open)
    .fetch_optional(pool)
    .await
}

/// When the first load under way began.
pub(super) async fn first_under_way(pool: &PgPool) -> Result<Option<Moment>, sqlx::Error> {
    sqlx::query_scalar("SELECT min(started_at) FROM kiln_loads WHERE state IN ('burning', 'held')")
        .fetch_one(pool)
        .await
}

/// How many planned loads start from a moment on.
pub(super) async fn planned_from(pool: &PgPool, from: Moment) -> Result<usize, sqlx::Error> {
    let count: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM kiln_loads WHERE state = 'planned' AND planned_start_at >= $1",
    )
    .bind(from)
    .fetch_one(pool)
    .await?;
    Ok(usize::try_from(count).unwrap_or(0))
}

/// Plans that can be compared, newest first: number, state, when made.
pub(super) async fn comparable(pool: &PgPool) -> Result<Vec<(i32, String, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, state, made_at FROM plans WHERE result IS NOT NULL ORDER BY number DESC LIMIT 60",
    )
    .fetch_all(pool)
    .await
}

pub(super) async fn instance(pool: &PgPool, number: i32) -> Result<Value, sqlx::Error> {
    sqlx::query_scalar("SELECT instance FROM plans WHERE number = $1")
        .bind(number)
        .fetch_one(pool)
        .await
}

/// A programme's segments by family and size class, as drawn.
pub(super) async fn programmes(
    pool: &PgPool,
) -> Result<std::collections::HashMap<(String, String), Vec<crate::kilns::SegmentRow>>, sqlx::Error>
{
    let rows: Vec<(String, String, crate::kilns::SegmentKind, f64, i32)> = sqlx::query_as(
        "SELECT b.name, s.size_class, s.kind, s.target_c, s.minutes FROM programme_segments s
         JOIN burnout_families b ON b.id = s.family_id ORDER BY b.name, s.size_class, s.n",
    )
    .fetch_all(pool)
    .await?;
    let mut programmes = std::collections::HashMap::<_, Vec<_>>::new();
    for (family, size, kind, target_c, minutes) in rows {
        programmes.entry((family, size)).or_default().push(crate::kilns::SegmentRow {
            kind,
            target_c,
            minutes,
        });
    }
    Ok(programmes)
}

/// What happened to a piece since the plan that holds was accepted.
#[derive(Clone, Debug, FromRow)]
pub(super) struct News {
    pub(super) label: String,
    pub(super) words: String,
    pub(super) at: Moment,
    pub(super) due_on: Option<Day>,
}

/// What the accepted plan does not know: pieces that failed, went back, changed places or will
/// not be made. What was taken back since is left out.
pub(super) async fn news(pool: &PgPool) -> Result<Vec<News>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.label, e.at, o.due_on,
                CASE e.kind WHEN 'failed' THEN 'failed at ' || e.stage || ': ' || e.cause
                     WHEN 'sent_back' THEN 'went back to ' || e.stage
                     WHEN 'swapped' THEN 'changed places with ' || coalesce(e.detail ->> 'with', 'another')
                     ELSE 'will not be made' END AS words
         FROM plans a JOIN piece_events e ON e.at > a.accepted_at JOIN pieces p ON p.id = e.piece_id JOIN orders o ON o.id = p.order_id
         WHERE a.state = 'accepted' AND e.kind IN ('failed', 'sent_back', 'swapped', 'cancelled')
           AND NOT EXISTS (SELECT 1 FROM piece_events u WHERE u.undoes = e.id)
         ORDER BY e.id DESC LIMIT 20",
    )
    .fetch_all(pool)
    .await
}
