//! What the names in a plan stand for, read while it is being accepted.

use std::collections::HashMap;

use sqlx::{FromRow, PgConnection};

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
