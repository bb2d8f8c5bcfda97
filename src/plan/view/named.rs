//! What the names in a plan stand for, read while it is being accepted.

use std::collections::HashMap;

use sqlx::{FromRow, PgConnection};

use crate::clock::Moment;
use crate::id::{FamilyId, FlaskId, KilnId};

/// A flask that a plan may name.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct NamedFlask {
    pub(in crate::plan) id: FlaskId,
    number: i32,
    pub(in crate::plan) state: String,
    pub(in crate::plan) family: String,
    pub(in crate::plan) size_class: String,
}

/// Flasks that wait, are in a kiln or were poured, by their number.
pub(in crate::plan) async fn flasks_by_number(
    conn: &mut PgConnection,
) -> Result<HashMap<String, NamedFlask>, sqlx::Error> {
    let rows: Vec<NamedFlask> = sqlx::query_as(
        "SELECT f.id, f.number, f.state, b.name AS family, t.size_class FROM flasks f
         JOIN burnout_families b ON b.id = f.family_id JOIN flask_types t ON t.id = f.flask_type_id
         WHERE f.state IN ('weighed', 'mixing', 'setting', 'in_kiln', 'hot', 'poured')",
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|flask| (flask.number.to_string(), flask)).collect())
}

/// All kilns by their name.
pub(in crate::plan) async fn kilns_by_name(
    conn: &mut PgConnection,
) -> Result<HashMap<String, KilnId>, sqlx::Error> {
    let rows: Vec<(String, KilnId)> =
        sqlx::query_as("SELECT name, id FROM kilns").fetch_all(conn).await?;
    Ok(rows.into_iter().collect())
}

/// All families by their name.
pub(in crate::plan) async fn families_by_name(
    conn: &mut PgConnection,
) -> Result<HashMap<String, FamilyId>, sqlx::Error> {
    let rows: Vec<(String, FamilyId)> =
        sqlx::query_as("SELECT name, id FROM burnout_families").fetch_all(conn).await?;
    Ok(rows.into_iter().collect())
}

/// A load that was started.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct BegunRow {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) kiln: String,
    pub(in crate::plan) started_at: Moment,
    /// Whether it burns or is held.
    pub(in crate::plan) fires: bool,
    /// Whether it is not held yet.
    pub(in crate::plan) burns: bool,
    /// How long its programme takes in its kiln.
    pub(in crate::plan) burns_min: i64,
    /// The flasks that stand in it.
    pub(in crate::plan) standing: Vec<String>,
    /// The flasks that were in it when it was started.
    pub(in crate::plan) fired: Vec<String>,
    /// Those of them that were poured.
    pub(in crate::plan) poured: Vec<String>,
}

/// Loads that burn or are held, and those that ended since a moment.
pub(in crate::plan) async fn begun_loads(
    conn: &mut PgConnection,
    since: Moment,
) -> Result<Vec<BegunRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.number, k.name AS kiln, l.started_at, l.state <> 'ended' AS fires, l.state = 'burning' AS burns,
                l.planned_longer_min + (SELECT coalesce(sum((s ->> 'minutes')::int), 0)
                    FROM jsonb_array_elements(l.programme) s) AS burns_min,
                coalesce(array_agg(f.number::text ORDER BY f.number) FILTER (WHERE lf.left_at IS NULL), '{}') AS standing,
                array_agg(f.number::text ORDER BY f.number) AS fired,
                coalesce(array_agg(f.number::text ORDER BY f.number) FILTER (WHERE p.id IS NOT NULL), '{}') AS poured
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id AND (lf.left_at IS NULL OR lf.left_at >= l.started_at)
         JOIN flasks f ON f.id = lf.flask_id LEFT JOIN pours p ON p.flask_id = f.id AND p.kiln_load_id = l.id
         WHERE l.started_at IS NOT NULL AND (l.state IN ('burning', 'held') OR l.ended_at >= $1)
         GROUP BY l.id, k.id ORDER BY l.number",
    )
    .bind(since)
    .fetch_all(conn)
    .await
}
