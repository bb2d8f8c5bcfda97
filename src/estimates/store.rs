//! All SQL that writes what was learned, and the settings themselves.

use serde_json::Value;
use sqlx::{AssertSqlSafe, FromRow, PgConnection};
use uuid::Uuid;

use super::model::What;
use super::view;
use crate::clock::Moment;
use crate::forecasts;
use crate::id::PersonId;

/// Table, column and the condition on its row for a setting; none for what forecasts keep.
const fn place(what: What) -> Option<(&'static str, &'static str, &'static str)> {
    Some(match what {
        What::MetalLoss => ("studio", "metal_loss", "$1 = ''"),
        What::LiftS => ("printers", "lift_s", "id::text = $1"),
        What::FinishingMinutes => ("designs", "finishing_minutes", "id::text = $1"),
        What::Shrinkage => ("alloys", "shrinkage", "id::text = $1"),
        What::Chance | What::Limit => return None,
    })
}

/// Puts a value in a setting that still has the other one; says whether it did. A design
/// without a setting of its own has whatever its orders allow.
pub(super) async fn set(
    conn: &mut PgConnection,
    what: What,
    item: &str,
    was: f64,
    value: f64,
) -> Result<bool, sqlx::Error> {
    let Some((table, column, row)) = place(what) else {
        let Some((of, verdict)) = view::verdict_of(item) else { return Ok(false) };
        if what == What::Limit {
            return forecasts::set_limit(conn, of, verdict, was, value).await;
        }
        return forecasts::set_chance(conn, of, verdict, was, value).await;
    };
    let version = if what == What::Shrinkage { "" } else { ", version = version + 1" };
    let kind = match what {
        What::MetalLoss => "numeric",
        What::FinishingMinutes => "integer",
        _ => "double precision",
    };
    let held =
        if what == What::FinishingMinutes { "coalesce(finishing_minutes, $2)" } else { column };
    let sql = format!(
        "UPDATE {table} SET {column} = $3::{kind}{version}
         WHERE {row} AND abs({held}::double precision - $2) < 0.00001"
    );
    let done =
        sqlx::query(AssertSqlSafe(sql)).bind(item).bind(was).bind(value).execute(conn).await?;
    Ok(done.rows_affected() == 1)
}

/// What is kept of a change.
#[derive(Clone, Debug)]
pub(super) struct Change<'a> {
    pub(super) what: What,
    pub(super) item: &'a str,
    pub(super) before: f64,
    pub(super) after: f64,
    pub(super) records: i32,
    pub(super) working: Value,
}

pub(super) async fn note(
    conn: &mut PgConnection,
    change: Change<'_>,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO learned_settings (id, what, item, before, after, records, working, taken_at, taken_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
    )
    .bind(Uuid::now_v7())
    .bind(change.what)
    .bind(change.item)
    .bind(change.before)
    .bind(change.after)
    .bind(change.records)
    .bind(change.working)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// A change held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Kept {
    pub(super) what: What,
    pub(super) item: String,
    pub(super) before: f64,
    pub(super) after: f64,
    pub(super) reversed: bool,
}

pub(super) async fn hold(conn: &mut PgConnection, id: Uuid) -> Result<Kept, sqlx::Error> {
    sqlx::query_as(
        "SELECT what, item, before, after, reversed_at IS NOT NULL AS reversed FROM learned_settings WHERE id = $1 FOR UPDATE",
    )
    .bind(id)
    .fetch_one(conn)
    .await
}

pub(super) async fn mark_reversed(
    conn: &mut PgConnection,
    id: Uuid,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE learned_settings SET reversed_at = $2, reversed_by = $3 WHERE id = $1")
        .bind(id)
        .bind(now)
        .bind(person)
        .execute(conn)
        .await?;
    Ok(())
}
