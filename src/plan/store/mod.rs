//! All SQL that writes plans, pins, the times kilns are out of use and calendars' addresses.

mod by_hand;
mod feeds;
mod pins;
mod reality;

pub(super) use by_hand::{Change, hold_open, insert_change, numbered, open, redo, undo};
pub(super) use feeds::{FeedRow, feed_of, insert_feed, note_feed_read, revoke_feed};
pub(super) use pins::{allow, forbid, pin, unpin, waiting_flask};
pub(super) use reality::{
    Proposal, insert_proposal, is_ours, is_wanted, lock_made_by_itself, turned_down, withdraw,
};

use serde_json::Value;
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgPool};

use super::power::Power;
use crate::clock::{Day, Moment};
use crate::id::{PersonId, PlanId};
use crate::json::plan::InstanceJson;

/// A plan that is still being computed after so long was interrupted.
pub(in crate::plan) const INTERRUPTED_AFTER_S: i64 = 720;

/// What a plan is begun from.
#[derive(Clone, Copy, Debug)]
pub(in crate::plan) struct Begun<'a> {
    pub(in crate::plan) day_zero: Day,
    pub(in crate::plan) instance: &'a InstanceJson,
    pub(in crate::plan) seconds: f64,
    /// What could not be taken in as it is.
    pub(in crate::plan) notes: &'a [String],
}

/// Begins a plan; an open proposal gives way to it.
pub(in crate::plan) async fn begin(
    conn: &mut PgConnection,
    begun: Begun<'_>,
    person: PersonId,
    now: Moment,
) -> Result<PlanId, sqlx::Error> {
    sqlx::query(
        "UPDATE plans SET state = 'replaced' WHERE state IN ('proposed', 'undone') OR (state = 'computing' AND made_at < $1)",
    )
    .bind(now.plus_seconds(-INTERRUPTED_AFTER_S))
    .execute(&mut *conn)
    .await?;
    let id = PlanId::new();
    sqlx::query(
        "INSERT INTO plans (id, state, day_zero, instance, seconds, made_by, made_at, notes) VALUES ($1, 'computing', $2, $3, $4, $5, $6, $7)",
    )
    .bind(id)
    .bind(begun.day_zero)
    .bind(Json(begun.instance))
    .bind(begun.seconds)
    .bind(person)
    .bind(now)
    .bind(Json(begun.notes))
    .execute(conn)
    .await?;
    Ok(id)
}

/// Shows the best plan so far of one that is being computed.
pub(in crate::plan) async fn show_so_far(
    pool: &PgPool,
    plan: PlanId,
    result: Value,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET result = $2 WHERE id = $1 AND state = 'computing'")
        .bind(plan)
        .bind(result)
        .execute(pool)
        .await?;
    Ok(())
}

/// Asks whoever computes to stop with the best plan so far.
pub(in crate::plan) async fn ask_to_stop(conn: &mut PgConnection) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET stop_asked = true WHERE state = 'computing'")
        .execute(conn)
        .await?;
    Ok(())
}

/// Whether somebody asked for the plan to be stopped, or it is no longer wanted.
pub(in crate::plan) async fn stop_asked(pool: &PgPool, plan: PlanId) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT stop_asked OR state <> 'computing' FROM plans WHERE id = $1")
        .bind(plan)
        .fetch_one(pool)
        .await
}

/// The plan is computed, or failed. A plan that was replaced meanwhile stays so.
pub(in crate::plan) async fn finish(
    pool: &PgPool,
    plan: PlanId,
    outcome: Result<Value, String>,
) -> Result<(), sqlx::Error> {
    let (state, result, error) = match outcome {
        Ok(result) => ("proposed", Some(result), None),
        Err(error) => ("failed", None, Some(error)),
    };
    sqlx::query("UPDATE plans SET state = $2, result = $3, error = $4 WHERE id = $1 AND state = 'computing'")
        .bind(plan)
        .bind(state)
        .bind(result)
        .bind(error)
        .execute(pool)
        .await?;
    Ok(())
}

/// Keeps what it saved to look at prices.
pub(in crate::plan) async fn note_power(
    pool: &PgPool,
    plan: PlanId,
    power: &Power,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET power = $2 WHERE id = $1")
        .bind(plan)
        .bind(Json(power))
        .execute(pool)
        .await?;
    Ok(())
}

#[derive(Debug, FromRow)]
pub(in crate::plan) struct Proposed {
    pub(in crate::plan) id: PlanId,
    pub(in crate::plan) day_zero: Day,
    pub(in crate::plan) made_at: Moment,
    pub(in crate::plan) result: Option<Value>,
    #[sqlx(json)]
    pub(in crate::plan) instance: InstanceJson,
}

/// The proposal with a number, held until the commit.
pub(in crate::plan) async fn lock_proposed(
    conn: &mut PgConnection,
    number: i32,
) -> Result<Option<Proposed>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, day_zero, made_at, result, instance FROM plans WHERE number = $1 AND state = 'proposed' FOR UPDATE",
    )
    .bind(number)
    .fetch_optional(conn)
    .await
}

pub(in crate::plan) async fn accept(
    conn: &mut PgConnection,
    plan: PlanId,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET state = 'replaced' WHERE state IN ('accepted', 'undone')")
        .execute(&mut *conn)
        .await?;
    sqlx::query(
        "UPDATE plans SET state = 'accepted', accepted_by = $2, accepted_at = $3 WHERE id = $1",
    )
    .bind(plan)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

pub(in crate::plan) async fn discard(conn: &mut PgConnection) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE plans SET state = 'replaced' WHERE state IN ('proposed', 'computing', 'failed', 'undone')",
    )
    .execute(conn)
    .await?;
    Ok(())
}
