//! Changes by hand: proposals whose parent is the plan they were made from.

use serde_json::Value;
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{PersonId, PlanId};
use crate::json::plan::{InstanceJson, PinJson};

/// A plan with what it was made from.
#[derive(Debug, FromRow)]
pub(in crate::plan) struct Kept {
    pub(in crate::plan) number: i32,
    pub(in crate::plan) day_zero: Day,
    /// What was pinned in it.
    #[sqlx(json)]
    pub(in crate::plan) pins: Vec<PinJson>,
    pub(in crate::plan) result: Option<Value>,
}

/// The open proposal.
pub(in crate::plan) async fn open(pool: &PgPool) -> Result<Option<Kept>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, day_zero, coalesce(instance -> 'decisions' -> 'pins', '[]') AS pins, result
         FROM plans WHERE state = 'proposed' ORDER BY number DESC LIMIT 1",
    )
    .fetch_optional(pool)
    .await
}

/// A plan by its number, once it has a result.
pub(in crate::plan) async fn numbered(
    pool: &PgPool,
    number: i32,
) -> Result<Option<Kept>, sqlx::Error> {
    sqlx::query_as(
        "SELECT number, day_zero, coalesce(instance -> 'decisions' -> 'pins', '[]') AS pins, result
         FROM plans WHERE number = $1 AND result IS NOT NULL",
    )
    .bind(number)
    .fetch_optional(pool)
    .await
}

/// The number of the open proposal, held until the commit.
pub(in crate::plan) async fn hold_open(
    conn: &mut PgConnection,
) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT number FROM plans WHERE state = 'proposed' ORDER BY number DESC LIMIT 1 FOR UPDATE",
    )
    .fetch_optional(conn)
    .await
}

/// A change that was worked out and can be kept.
#[derive(Debug)]
pub(in crate::plan) struct Change {
    /// The plan it was made from; none for the loads as they stand.
    pub(in crate::plan) base: Option<i32>,
    pub(in crate::plan) day_zero: Day,
    pub(in crate::plan) instance: InstanceJson,
    pub(in crate::plan) result: Value,
    pub(in crate::plan) words: String,
    /// What could not be taken in as it is.
    pub(in crate::plan) notes: Vec<String>,
    pub(in crate::plan) seconds: f64,
}

/// Keeps a change as the proposal. What was taken back before cannot be made again on top of it.
pub(in crate::plan) async fn insert_change(
    conn: &mut PgConnection,
    change: &Change,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET state = 'replaced' WHERE state IN ('proposed', 'undone', 'computing', 'failed')")
        .execute(&mut *conn)
        .await?;
    sqlx::query(
        "INSERT INTO plans (id, state, day_zero, instance, result, seconds, parent, change, made_by, made_at, notes)
         VALUES ($1, 'proposed', $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(PlanId::new())
    .bind(change.day_zero)
    .bind(Json(&change.instance))
    .bind(&change.result)
    .bind(change.seconds)
    .bind(change.base)
    .bind(&change.words)
    .bind(person)
    .bind(now)
    .bind(Json(&change.notes))
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes the last change by hand back; says whether there was one.
pub(in crate::plan) async fn undo(conn: &mut PgConnection) -> Result<bool, sqlx::Error> {
    let undone: Option<Option<i32>> = sqlx::query_scalar(
        "UPDATE plans SET state = 'undone' WHERE state = 'proposed' AND change <> '' RETURNING parent",
    )
    .fetch_optional(&mut *conn)
    .await?;
    if let Some(Some(parent)) = undone {
        sqlx::query("UPDATE plans SET state = 'proposed' WHERE number = $1 AND state = 'replaced'")
            .bind(parent)
            .execute(conn)
            .await?;
    }
    Ok(undone.is_some())
}

/// Makes the change again that was taken back last from the open proposal; says whether there
/// was one.
pub(in crate::plan) async fn redo(
    conn: &mut PgConnection,
    open: Option<i32>,
) -> Result<bool, sqlx::Error> {
    let again: Option<i32> = sqlx::query_scalar(
        "SELECT number FROM plans WHERE state = 'undone' AND parent IS NOT DISTINCT FROM $1 ORDER BY number LIMIT 1",
    )
    .bind(open)
    .fetch_optional(&mut *conn)
    .await?;
    let Some(again) = again else { return Ok(false) };
    sqlx::query("UPDATE plans SET state = 'replaced' WHERE state = 'proposed'")
        .execute(&mut *conn)
        .await?;
    sqlx::query("UPDATE plans SET state = 'proposed' WHERE number = $1")
        .bind(again)
        .execute(conn)
        .await?;
    Ok(true)
}
