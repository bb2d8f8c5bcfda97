//! Pins, and the times kilns are out of use.

use sqlx::PgConnection;

use crate::clock::Moment;
use crate::id::{FlaskId, KilnId, OutageId, PersonId};
use crate::web::{Fault, Refused};

pub(in crate::plan) async fn pin(
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

pub(in crate::plan) async fn unpin(conn: &mut PgConnection, flask: i32) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM plan_pins WHERE flask_id = (SELECT id FROM flasks WHERE number = $1)")
        .bind(flask)
        .execute(conn)
        .await?;
    Ok(())
}

pub(in crate::plan) async fn forbid(
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
pub(in crate::plan) async fn allow(
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
pub(in crate::plan) async fn waiting_flask(
    conn: &mut PgConnection,
    number: i32,
) -> Result<FlaskId, Fault> {
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
