//! Plans that are made because something has changed.

use serde_json::Value;
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection};

use crate::clock::{Day, Moment};
use crate::id::PlanId;
use crate::json::plan::InstanceJson;

/// One copy of the program at a time. Any number.
const LOCK: i64 = 0x706f_7572_706c_616e;

/// Whether no other copy of the program is at it. Held until the commit.
pub(in crate::plan) async fn is_ours(conn: &mut PgConnection) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT pg_try_advisory_xact_lock($1)").bind(LOCK).fetch_one(conn).await
}

/// Whether a new plan may be wanted at all: one was accepted, something of it is still to be
/// done, and none is open.
pub(in crate::plan) async fn is_wanted(conn: &mut PgConnection) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM plans WHERE state = 'accepted')
            AND EXISTS (SELECT 1 FROM kiln_loads WHERE state IN ('planned', 'burning', 'held'))
            AND NOT EXISTS (SELECT 1 FROM plans WHERE state IN ('proposed', 'computing'))",
    )
    .fetch_one(conn)
    .await
}

/// An open proposal that was made without being asked for.
#[derive(Debug, FromRow)]
pub(in crate::plan) struct MadeByItself {
    pub(in crate::plan) id: PlanId,
    pub(in crate::plan) day_zero: Day,
    pub(in crate::plan) made_at: Moment,
    pub(in crate::plan) result: Option<Value>,
}

/// The open proposal if it was made without being asked for, held until the commit.
pub(in crate::plan) async fn lock_made_by_itself(
    conn: &mut PgConnection,
) -> Result<Option<MadeByItself>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, day_zero, made_at, result FROM plans
         WHERE state = 'proposed' AND made_by IS NULL ORDER BY number DESC LIMIT 1 FOR UPDATE",
    )
    .fetch_optional(conn)
    .await
}

/// Takes a proposal off the table.
pub(in crate::plan) async fn withdraw(
    conn: &mut PgConnection,
    plan: PlanId,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET state = 'replaced' WHERE id = $1 AND state = 'proposed'")
        .bind(plan)
        .execute(conn)
        .await?;
    Ok(())
}

/// The reasons of the newest plan that was made by itself since one was accepted, and given up.
pub(in crate::plan) async fn turned_down(
    conn: &mut PgConnection,
) -> Result<Option<Value>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT reasons FROM plans WHERE made_by IS NULL AND state <> 'accepted'
           AND number > (SELECT number FROM plans WHERE state = 'accepted') ORDER BY number DESC LIMIT 1",
    )
    .fetch_optional(conn)
    .await
}

/// A plan that was made by itself.
#[derive(Debug)]
pub(in crate::plan) struct Proposal {
    pub(in crate::plan) day_zero: Day,
    pub(in crate::plan) instance: InstanceJson,
    pub(in crate::plan) result: Value,
    pub(in crate::plan) seconds: f64,
    /// What had changed.
    pub(in crate::plan) reasons: Value,
    /// What the plan gives those it was made for, in sentences.
    pub(in crate::plan) gains: Value,
    /// What could not be taken in as it is.
    pub(in crate::plan) notes: Vec<String>,
}

/// Keeps it as the proposal; its number.
pub(in crate::plan) async fn insert_proposal(
    conn: &mut PgConnection,
    proposal: &Proposal,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO plans (id, state, day_zero, instance, result, seconds, reasons, gains, made_at, notes)
         VALUES ($1, 'proposed', $2, $3, $4, $5, $6, $7, $8, $9) RETURNING number",
    )
    .bind(PlanId::new())
    .bind(proposal.day_zero)
    .bind(Json(&proposal.instance))
    .bind(&proposal.result)
    .bind(proposal.seconds)
    .bind(&proposal.reasons)
    .bind(&proposal.gains)
    .bind(now)
    .bind(Json(&proposal.notes))
    .fetch_one(conn)
    .await
}
