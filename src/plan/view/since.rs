//! What has happened since the plan that holds was accepted.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};

/// What happened to a piece since the plan that holds was accepted.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct News {
    pub(in crate::plan) label: String,
    pub(in crate::plan) words: String,
    pub(in crate::plan) at: Moment,
    pub(in crate::plan) due_on: Option<Day>,
}

/// What the accepted plan does not know: pieces that failed, went back, changed places or will
/// not be made. What was taken back since is left out.
pub(in crate::plan) async fn news(pool: &PgPool) -> Result<Vec<News>, sqlx::Error> {
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

/// A load under way that does not keep to its plan.
#[derive(Debug, FromRow)]
pub(in crate::plan) struct LongLoad {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) kiln: String,
    /// When it was to be held, counted from when it began.
    pub(in crate::plan) expected_at: Moment,
    pub(in crate::plan) held_at: Option<Moment>,
}

/// Loads that burn longer than was planned, or did; a quarter of an hour is not counted.
pub(in crate::plan) async fn long_loads(
    pool: &PgPool,
    now: Moment,
) -> Result<Vec<LongLoad>, sqlx::Error> {
    sqlx::query_as(
        "SELECT * FROM (
            SELECT l.number, k.name AS kiln, l.held_at,
                   l.started_at + make_interval(mins => l.planned_longer_min
                       + (SELECT coalesce(sum((s ->> 'minutes')::int), 0)::int
                          FROM jsonb_array_elements(l.programme) s)) AS expected_at
            FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.state IN ('burning', 'held')) x
         WHERE coalesce(held_at, $1) > expected_at + interval '15 minutes' ORDER BY number",
    )
    .bind(now)
    .fetch_all(pool)
    .await
}

/// Who was said to be ill or away since the plan that holds was accepted, and is still or will be.
pub(in crate::plan) async fn absences_since(
    pool: &PgPool,
    today: Day,
) -> Result<Vec<(String, crate::studio::Away, Day, Day)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT p.name, x.kind, x.from_on, x.to_on FROM absences x JOIN people p ON p.id = x.person_id
         JOIN plans a ON a.state = 'accepted' AND x.noted_at > a.accepted_at
         WHERE x.to_on >= $1 AND p.left_at IS NULL ORDER BY x.from_on, p.name",
    )
    .bind(today)
    .fetch_all(pool)
    .await
}

/// A piece that has to be made again since the plan was accepted, and stands on no tree yet.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct AgainRow {
    pub(in crate::plan) label: String,
    pub(in crate::plan) attempt_n: i32,
    pub(in crate::plan) kind: String,
    pub(in crate::plan) failed_at: String,
    pub(in crate::plan) cause: String,
    /// The stage at which it is now.
    pub(in crate::plan) stage: String,
    pub(in crate::plan) alloy: String,
    pub(in crate::plan) flask_c: f64,
    pub(in crate::plan) finishing_min: i64,
    pub(in crate::plan) due_on: Option<Day>,
}

pub(in crate::plan) async fn made_again(pool: &PgPool) -> Result<Vec<AgainRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT DISTINCT ON (p.label) p.label, p.attempt_n, e.kind, e.stage::text AS failed_at, coalesce(e.cause, '') AS cause,
                p.stage::text AS stage, a.name AS alloy, a.flask_c, ol.finishing_minutes::bigint AS finishing_min, o.due_on
         FROM plans x JOIN piece_events e ON e.at > x.accepted_at JOIN pieces p ON p.id = e.piece_id
         JOIN orders o ON o.id = p.order_id JOIN order_lines ol ON ol.id = p.order_line_id JOIN alloys a ON a.id = ol.alloy_id
         WHERE x.state = 'accepted' AND e.kind IN ('failed', 'sent_back')
           AND p.standing IN ('waiting', 'in_hand') AND p.stage IN ('print', 'cure', 'invest')
           AND NOT EXISTS (SELECT 1 FROM piece_events u WHERE u.undoes = e.id)
           AND NOT EXISTS (SELECT 1 FROM flask_pieces fp JOIN attempts t ON t.id = fp.attempt_id
                           WHERE t.piece_id = p.id AND t.ended_at IS NULL AND fp.left_at IS NULL)
         ORDER BY p.label, e.id DESC LIMIT 200",
    )
    .fetch_all(pool)
    .await
}

/// How long pieces took in the last year from entering a stage until their flask had set, in
/// minutes: the median, by stage.
pub(in crate::plan) async fn until_set(
    pool: &PgPool,
    now: Moment,
) -> Result<Vec<(String, f64)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT s.stage::text, percentile_cont(0.5) WITHIN GROUP (ORDER BY extract(epoch FROM f.set_from_at - s.entered_at) / 60)::float8
         FROM (SELECT * FROM flasks WHERE set_from_at > $1 ORDER BY set_from_at DESC LIMIT 150) f
         JOIN flask_pieces fp ON fp.flask_id = f.id JOIN attempt_stages s ON s.attempt_id = fp.attempt_id
         WHERE s.stage IN ('print', 'cure', 'invest') AND s.entered_at < f.set_from_at GROUP BY s.stage",
    )
    .bind(now.plus_minutes(-365 * 1440))
    .fetch_all(pool)
    .await
}

/// The kind of flask and the programme that an alloy was last put into; with none yet, any last.
#[derive(Debug, FromRow)]
pub(in crate::plan) struct LikelyFlask {
    pub(in crate::plan) diameter_mm: i32,
    pub(in crate::plan) height_mm: i32,
    pub(in crate::plan) size_class: String,
    pub(in crate::plan) family: String,
}

pub(in crate::plan) async fn likely_flask(
    pool: &PgPool,
    alloy: &str,
) -> Result<Option<LikelyFlask>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.diameter_mm, t.height_mm, t.size_class, b.name AS family
         FROM flasks f JOIN alloys a ON a.id = f.alloy_id JOIN flask_types t ON t.id = f.flask_type_id
         JOIN burnout_families b ON b.id = f.family_id ORDER BY (a.name = $1) DESC, f.number DESC LIMIT 1",
    )
    .bind(alloy)
    .fetch_optional(pool)
    .await
}
