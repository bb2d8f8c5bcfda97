//! All SQL that writes plans, pins and the times kilns are out of use.

use serde_json::Value;
use sqlx::{FromRow, PgConnection, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{FlaskId, KilnId, OutageId, PersonId, PlanId};
use crate::web::{Fault, Refused};

/// A plan that is still being computed after so long was interrupted.
pub(super) const INTERRUPTED_AFTER_S: i64 = 720;

/// What a plan is begun from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Begun<'a> {
    pub(super) day_zero: Day,
    pub(super) instance: &'a Value,
    pub(super) seconds: f64,
}

/// Begins a plan; an open proposal gives way to it.
pub(super) async fn begin(
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
        "INSERT INTO plans (id, state, day_zero, instance, seconds, made_by, made_at) VALUES ($1, 'computing', $2, $3, $4, $5, $6)",
    )
    .bind(id)
    .bind(begun.day_zero)
    .bind(begun.instance)
    .bind(begun.seconds)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(id)
}

/// Shows the best plan so far of one that is being computed.
pub(super) async fn show_so_far(
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
pub(super) async fn ask_to_stop(conn: &mut PgConnection) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE plans SET stop_asked = true WHERE state = 'computing'")
        .execute(conn)
        .await?;
    Ok(())
}

/// Whether somebody asked for the plan to be stopped, or it is no longer wanted.
pub(super) async fn stop_asked(pool: &PgPool, plan: PlanId) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT stop_asked OR state <> 'computing' FROM plans WHERE id = $1")
        .bind(plan)
        .fetch_one(pool)
        .await
}

/// The plan is computed, or failed. A plan that was replaced meanwhile stays so.
pub(super) async fn finish(
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

#[derive(Debug, FromRow)]
pub(super) struct Proposed {
    pub(super) id: PlanId,
    pub(super) day_zero: Day,
    pub(super) result: Option<Value>,
    pub(super) instance: Value,
}

/// The proposal with a number, held until the commit.
pub(super) async fn lock_proposed(
    conn: &mut PgConnection,
    number: i32,
) -> Result<Option<Proposed>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, day_zero, result, instance FROM plans WHERE number = $1 AND state = 'proposed' FOR UPDATE",
    )
    .bind(number)
    .fetch_optional(conn)
    .await
}

pub(super) async fn accept(
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

pub(super) async fn discard(conn: &mut PgConnection) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE plans SET state = 'replaced' WHERE state IN ('proposed', 'computing', 'failed', 'undone')",
    )
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn pin(
    conn: &mut PgConnection,
    flask: FlaskId,
    kiln: KilnId,
    start_at: Moment,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO plan_pins (flask_id, kiln_id, start_at, made_by, made_at) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (flask_id) DO UPDATE SET kiln_id = $2, start_at = $3, made_by = $4, made_at = $5",
    )
    .bind(flask)
    .bind(kiln)
    .bind(start_at)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn unpin(conn: &mut PgConnection, flask: i32) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM plan_pins WHERE flask_id = (SELECT id FROM flasks WHERE number = $1)")
        .bind(flask)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn forbid(
    conn: &mut PgConnection,
    kiln: KilnId,
    from: Moment,
    to: Moment,
    reason: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO kiln_outages (id, kiln_id, from_at, to_at, reason) VALUES ($1, $2, $3, $4, $5)")
        .bind(OutageId::new())
        .bind(kiln)
        .bind(from)
        .bind(to)
        .bind(reason)
        .execute(conn)
        .await?;
    Ok(())
}

/// The kiln is free again from now on.
pub(super) async fn allow(
    conn: &mut PgConnection,
    outage: OutageId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM kiln_outages WHERE id = $1 AND from_at >= $2")
        .bind(outage)
        .bind(now)
        .execute(&mut *conn)
        .await?;
    sqlx::query("UPDATE kiln_outages SET to_at = $2 WHERE id = $1 AND from_at < $2 AND to_at > $2")
        .bind(outage)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

/// A flask that can still be pinned.
pub(super) async fn waiting_flask(conn: &mut PgConnection, number: i32) -> Result<FlaskId, Fault> {
    let found = sqlx::query_scalar(
        "SELECT id FROM flasks WHERE number = $1 AND state IN ('weighed', 'mixing', 'setting') FOR UPDATE",
    )
    .bind(number)
    .fetch_optional(conn)
    .await?;
    found.ok_or_else(|| {
        Refused::conflict(format!("Flask {number} no longer waits for a kiln, so it cannot be pinned. Nothing was changed.")).into()
    })
}
