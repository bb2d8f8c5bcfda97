//! What the plan page reads.

mod named;
mod since;

pub(super) use named::{
    BegunRow, NamedFlask, begun_loads, families_by_name, flasks_by_number, kilns_by_name,
};
pub(super) use since::{
    AgainRow, News, absences_since, likely_flask, long_loads, made_again, news, until_set,
};

use serde_json::Value;
use sqlx::{FromRow, PgPool};

use super::power::Power;
use super::year::Taken;
use crate::clock::{Day, Moment};
use crate::id::{KilnId, KilnLoadId, OutageId};
use crate::kilns::FilledFlask;

#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct KilnRow {
    pub(in crate::plan) id: KilnId,
    pub(in crate::plan) name: String,
    pub(in crate::plan) width_mm: i32,
    pub(in crate::plan) depth_mm: i32,
}

pub(in crate::plan) async fn kilns(pool: &PgPool) -> Result<Vec<KilnRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, width_mm, depth_mm FROM kilns WHERE retired_at IS NULL ORDER BY name",
    )
    .fetch_all(pool)
    .await
}

/// The name of a kiln in use.
pub(in crate::plan) async fn kiln_name(
    pool: &PgPool,
    kiln: KilnId,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar("SELECT name FROM kilns WHERE id = $1 AND retired_at IS NULL")
        .bind(kiln)
        .fetch_optional(pool)
        .await
}

#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct OutageRow {
    pub(in crate::plan) id: OutageId,
    pub(in crate::plan) kiln: String,
    pub(in crate::plan) to_at: Moment,
    pub(in crate::plan) reason: String,
}

pub(in crate::plan) async fn outages(
    pool: &PgPool,
    now: Moment,
) -> Result<Vec<OutageRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, k.name AS kiln, o.to_at, o.reason FROM kiln_outages o JOIN kilns k ON k.id = o.kiln_id
         WHERE o.to_at > $1 ORDER BY o.to_at",
    )
    .bind(now)
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct PinRow {
    pub(in crate::plan) flask: i32,
    pub(in crate::plan) kiln: String,
    pub(in crate::plan) start_at: Moment,
}

pub(in crate::plan) async fn pins(pool: &PgPool) -> Result<Vec<PinRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number AS flask, k.name AS kiln, p.start_at FROM plan_pins p JOIN flasks f ON f.id = p.flask_id
         JOIN kilns k ON k.id = p.kiln_id WHERE f.state IN ('weighed', 'mixing', 'setting') ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

/// A flask that waits for a kiln, or stands in a planned load.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct FlaskRow {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) alloy: String,
    pub(in crate::plan) family: String,
    pub(in crate::plan) size_class: String,
    #[sqlx(flatten)]
    pub(in crate::plan) filled: FilledFlask,
    pub(in crate::plan) set_from_at: Option<Moment>,
    pub(in crate::plan) due_on: Option<Day>,
    pub(in crate::plan) load: Option<i32>,
    /// Not in the kiln yet.
    pub(in crate::plan) waiting: bool,
}

/// Flasks that wait, are in a kiln or were poured: those with some numbers, or all.
pub(in crate::plan) async fn flasks(
    pool: &PgPool,
    numbers: Option<&[i32]>,
) -> Result<Vec<FlaskRow>, sqlx::Error> {
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
         WHERE f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot', 'poured')
           AND ($1::int[] IS NULL OR f.number = ANY($1)) ORDER BY f.number",
    )
    .bind(numbers)
    .fetch_all(pool)
    .await
}

/// What the plan's page asks of every flask, however many there are.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct FlaskBrief {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) alloy: String,
    pub(in crate::plan) due_on: Option<Day>,
    /// Whether it stands in a load.
    pub(in crate::plan) in_load: bool,
    /// Not in the kiln yet.
    pub(in crate::plan) waiting: bool,
}

/// Flasks that wait, are in a kiln or were poured, by number.
pub(in crate::plan) async fn flask_briefs(pool: &PgPool) -> Result<Vec<FlaskBrief>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, a.name AS alloy,
                (SELECT min(o.due_on) FROM flask_pieces fp JOIN attempts x ON x.id = fp.attempt_id
                 JOIN pieces p ON p.id = x.piece_id JOIN orders o ON o.id = p.order_id
                 WHERE fp.flask_id = f.id AND fp.left_at IS NULL) AS due_on,
                EXISTS (SELECT 1 FROM kiln_load_flasks lf WHERE lf.flask_id = f.id AND lf.left_at IS NULL) AS in_load,
                f.state IN ('weighed', 'mixing', 'setting') AS waiting
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id
         WHERE f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot', 'poured') ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

/// What a plan was asked of a flask.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct AskedFlask {
    pub(in crate::plan) id: String,
    pub(in crate::plan) due_min: i64,
    pub(in crate::plan) lead_min: i64,
    pub(in crate::plan) weight: i64,
}

pub(in crate::plan) async fn asked_flasks(
    pool: &PgPool,
    number: i32,
) -> Result<Vec<AskedFlask>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.id, f.due_min, f.lead_min, f.weight FROM plans,
                jsonb_to_recordset(instance -> 'flasks') AS f (id text, due_min bigint, lead_min bigint, weight bigint)
         WHERE number = $1",
    )
    .bind(number)
    .fetch_all(pool)
    .await
}

/// How long a pour takes in a plan.
pub(in crate::plan) async fn asked_pour_min(
    pool: &PgPool,
    number: i32,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT (instance ->> 'pour_min')::bigint FROM plans WHERE number = $1")
        .bind(number)
        .fetch_one(pool)
        .await
}

/// The flasks that wait, and whether each stands in a load.
pub(in crate::plan) async fn waiting(pool: &PgPool) -> Result<Vec<(i32, bool)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, EXISTS (SELECT 1 FROM kiln_load_flasks lf WHERE lf.flask_id = f.id AND lf.left_at IS NULL)
         FROM flasks f WHERE f.state IN ('weighed', 'mixing', 'setting') ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct PlanRow {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) state: String,
    pub(in crate::plan) day_zero: Day,
    pub(in crate::plan) result: Option<Value>,
    pub(in crate::plan) error: Option<String>,
    pub(in crate::plan) made_at: Moment,
    /// The change by hand that made it; empty when it was made anew.
    pub(in crate::plan) change: String,
    /// What had changed when it was made without being asked for.
    pub(in crate::plan) reasons: sqlx::types::Json<Vec<String>>,
    /// What it gives those it was made for.
    pub(in crate::plan) gains: sqlx::types::Json<Vec<String>>,
    /// What could not be taken in as it is.
    pub(in crate::plan) notes: sqlx::types::Json<Vec<String>>,
    /// What it saved to look at prices, once that is known.
    pub(in crate::plan) power: Option<sqlx::types::Json<Power>>,
}

/// The newest plan that is being computed, proposed or failed.
pub(in crate::plan) async fn open_plan(pool: &PgPool) -> Result<Option<PlanRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, state, day_zero, result, error, made_at, change, reasons, gains, notes, power FROM plans
         WHERE state IN ('computing', 'proposed', 'failed')
           AND NOT EXISTS (SELECT 1 FROM plans later WHERE later.number > plans.number AND later.state = 'accepted')
         ORDER BY number DESC LIMIT 1",
    )
    .fetch_optional(pool)
    .await
}

/// What it saved in the plan that holds to look at prices.
pub(in crate::plan) async fn power_agreed(pool: &PgPool) -> Result<Option<Power>, sqlx::Error> {
    let power: Option<sqlx::types::Json<Power>> = sqlx::query_scalar(
        "SELECT power FROM plans WHERE state = 'accepted' AND power IS NOT NULL",
    )
    .fetch_optional(pool)
    .await?;
    Ok(power.map(|power| power.0))
}

/// The change that was taken back last and can be made again.
pub(in crate::plan) async fn redo(
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
pub(in crate::plan) async fn first_under_way(pool: &PgPool) -> Result<Option<Moment>, sqlx::Error> {
    sqlx::query_scalar("SELECT min(started_at) FROM kiln_loads WHERE state IN ('burning', 'held')")
        .fetch_one(pool)
        .await
}

/// How many planned loads start from a moment on.
pub(in crate::plan) async fn planned_from(
    pool: &PgPool,
    from: Moment,
) -> Result<usize, sqlx::Error> {
    let count: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM kiln_loads WHERE state = 'planned' AND planned_start_at >= $1",
    )
    .bind(from)
    .fetch_one(pool)
    .await?;
    Ok(usize::try_from(count).unwrap_or(0))
}

/// A plan that can be compared.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct ComparableRow {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) state: String,
    pub(in crate::plan) made_at: Moment,
    /// The flasks that it plans.
    pub(in crate::plan) flasks: Vec<String>,
}

/// Plans that can be compared, newest first.
pub(in crate::plan) async fn comparable(pool: &PgPool) -> Result<Vec<ComparableRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, state, made_at, ARRAY(SELECT p ->> 'flask' FROM jsonb_array_elements(result -> 'pours') p) AS flasks
         FROM plans WHERE result IS NOT NULL ORDER BY number DESC LIMIT 60",
    )
    .fetch_all(pool)
    .await
}

pub(in crate::plan) async fn instance(pool: &PgPool, number: i32) -> Result<Value, sqlx::Error> {
    sqlx::query_scalar("SELECT instance FROM plans WHERE number = $1")
        .bind(number)
        .fetch_one(pool)
        .await
}

/// A programme's segments by family and size class, as drawn.
pub(in crate::plan) async fn programmes(
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

/// A flask in a load that was agreed or is under way.
#[derive(Debug, FromRow)]
pub(in crate::plan) struct StandingRow {
    pub(in crate::plan) load: KilnLoadId,
    pub(in crate::plan) kiln: String,
    pub(in crate::plan) starts: Moment,
    pub(in crate::plan) flask: i32,
    pub(in crate::plan) x_mm: f64,
    pub(in crate::plan) y_mm: f64,
    pub(in crate::plan) pour: Moment,
}

/// The loads as they stand, flask by flask, in order of their start.
pub(in crate::plan) async fn standing(pool: &PgPool) -> Result<Vec<StandingRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.id AS load, k.name AS kiln, coalesce(l.started_at, l.planned_start_at) AS starts, f.number AS flask,
                lf.x_mm, lf.y_mm, coalesce(p.poured_at, lf.planned_pour_at) AS pour
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id AND lf.left_at IS NULL
         JOIN flasks f ON f.id = lf.flask_id LEFT JOIN pours p ON p.flask_id = f.id
         WHERE l.state IN ('planned', 'burning', 'held') ORDER BY starts, l.number, pour",
    )
    .fetch_all(pool)
    .await
}

/// A flask that agreed loads stand for: flask, kiln, start of its load.
pub(in crate::plan) async fn agreed(
    pool: &PgPool,
) -> Result<Vec<(i32, String, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT f.number, k.name, l.planned_start_at FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id AND lf.left_at IS NULL JOIN flasks f ON f.id = lf.flask_id
         WHERE l.state = 'planned' ORDER BY f.number",
    )
    .fetch_all(pool)
    .await
}

/// The kind of each family's investment.
pub(in crate::plan) async fn binders(
    pool: &PgPool,
) -> Result<std::collections::HashMap<String, String>, sqlx::Error> {
    let rows: Vec<(String, String)> =
        sqlx::query_as("SELECT name, investment_kind FROM burnout_families")
            .fetch_all(pool)
            .await?;
    Ok(rows.into_iter().collect())
}

/// Loads that are in a kiln from a moment on, by kiln and time.
pub(in crate::plan) async fn taken(
    pool: &PgPool,
    from: Moment,
    pour_min: i32,
) -> Result<Vec<Taken>, sqlx::Error> {
    sqlx::query_as(
        "SELECT k.name AS kiln, coalesce(l.started_at, l.planned_start_at) AS from_at,
                coalesce(l.ended_at, greatest(l.planned_held_at, max(lf.planned_pour_at) + make_interval(mins => $2))) AS to_at,
                count(*) AS flasks, l.state = 'planned' AS planned
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id AND (lf.left_at IS NULL OR l.state = 'ended')
         WHERE l.state <> 'cancelled' AND coalesce(l.ended_at, l.planned_held_at) >= $1
         GROUP BY l.id, k.id ORDER BY from_at LIMIT 5000",
    )
    .bind(from)
    .bind(pour_min)
    .fetch_all(pool)
    .await
}

/// How many orders that are being made are due on which day, from one on.
pub(in crate::plan) async fn due_orders(
    pool: &PgPool,
    from: Day,
) -> Result<Vec<(Day, i64)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT due_on, count(*) FROM orders WHERE state = 'agreed' AND due_on >= $1 GROUP BY due_on ORDER BY due_on",
    )
    .bind(from)
    .fetch_all(pool)
    .await
}
