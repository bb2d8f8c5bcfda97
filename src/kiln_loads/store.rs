//! All SQL that writes kiln loads.

use sqlx::PgConnection;

use super::actions::PlannedLoad;
use crate::clock::Moment;
use crate::id::{FlaskId, KilnLoadId, PlanId};
use crate::kilns::SegmentRow;

pub(super) async fn insert(
    conn: &mut PgConnection,
    load: &PlannedLoad,
    programme: &[SegmentRow],
    plan: PlanId,
) -> Result<i32, sqlx::Error> {
    let id = KilnLoadId::new();
    let number = sqlx::query_scalar(
        "INSERT INTO kiln_loads (id, kiln_id, plan_id, family_id, size_class, programme, planned_start_at, planned_held_at,
                                 planned_longer_min)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) RETURNING number",
    )
    .bind(id)
    .bind(load.kiln)
    .bind(plan)
    .bind(load.family)
    .bind(&load.size_class)
    .bind(sqlx::types::Json(programme))
    .bind(load.starts)
    .bind(load.held)
    .bind(load.longer_min)
    .fetch_one(&mut *conn)
    .await?;
    for (flask, x_mm, y_mm, pour) in &load.flasks {
        sqlx::query(
            "INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at) VALUES ($1, $2, $3, $4, $5)",
        )
        .bind(id)
        .bind(flask)
        .bind(x_mm)
        .bind(y_mm)
        .bind(pour)
        .execute(&mut *conn)
        .await?;
    }
    Ok(number)
}

/// Gives up every load that has not started; their flasks wait for a plan again.
pub(super) async fn cancel_planned(
    conn: &mut PgConnection,
    only: Option<KilnLoadId>,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_load_flasks SET left_at = $1 WHERE left_at IS NULL
         AND kiln_load_id IN (SELECT id FROM kiln_loads WHERE state = 'planned' AND ($2::uuid IS NULL OR id = $2))",
    )
    .bind(now)
    .bind(only)
    .execute(&mut *conn)
    .await?;
    sqlx::query("UPDATE kiln_loads SET state = 'cancelled', version = version + 1 WHERE state = 'planned' AND ($1::uuid IS NULL OR id = $1)")
        .bind(only)
        .execute(conn)
        .await?;
    Ok(())
}

/// Plans a pour for another time. The load is not another one by it: forms about it still hold.
pub(super) async fn move_pour(
    conn: &mut PgConnection,
    flask: FlaskId,
    to: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_load_flasks SET planned_pour_at = $2 WHERE flask_id = $1 AND left_at IS NULL
         AND NOT EXISTS (SELECT 1 FROM pours p WHERE p.flask_id = $1)",
    )
    .bind(flask)
    .bind(to)
    .execute(conn)
    .await?;
    Ok(())
}

/// The load's row, held until the commit.
pub(super) async fn lock(conn: &mut PgConnection, number: i32) -> Result<(), sqlx::Error> {
    sqlx::query("SELECT 1 FROM kiln_loads WHERE number = $1 FOR UPDATE")
        .bind(number)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn flasks_of(
    conn: &mut PgConnection,
    load: KilnLoadId,
) -> Result<Vec<FlaskId>, sqlx::Error> {
    sqlx::query_scalar("SELECT flask_id FROM kiln_load_flasks WHERE kiln_load_id = $1 AND left_at IS NULL ORDER BY flask_id")
        .bind(load)
        .fetch_all(conn)
        .await
}

/// The numbers of flasks.
pub(super) async fn numbers(
    conn: &mut PgConnection,
    flasks: &[FlaskId],
) -> Result<Vec<i32>, sqlx::Error> {
    sqlx::query_scalar("SELECT number FROM flasks WHERE id = ANY($1) ORDER BY number")
        .bind(flasks)
        .fetch_all(conn)
        .await
}

pub(super) async fn started(
    conn: &mut PgConnection,
    load: KilnLoadId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE kiln_loads SET state = 'burning', started_at = $2, version = version + 1 WHERE id = $1")
        .bind(load)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn held(
    conn: &mut PgConnection,
    load: KilnLoadId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_loads SET state = 'held', held_at = $2, version = version + 1 WHERE id = $1",
    )
    .bind(load)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// A load that was started by mistake is planned again.
pub(super) async fn unstarted(
    conn: &mut PgConnection,
    load: KilnLoadId,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE kiln_loads SET state = 'planned', started_at = NULL, version = version + 1 WHERE id = $1")
        .bind(load)
        .execute(conn)
        .await?;
    Ok(())
}

/// A load that is not held yet burns on.
pub(super) async fn unheld(conn: &mut PgConnection, load: KilnLoadId) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE kiln_loads SET state = 'burning', held_at = NULL, version = version + 1 WHERE id = $1")
        .bind(load)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn ended(
    conn: &mut PgConnection,
    load: KilnLoadId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_loads SET state = 'ended', ended_at = greatest($2, held_at), version = version + 1 WHERE id = $1",
    )
    .bind(load)
    .bind(now)
    .execute(&mut *conn)
    .await?;
    sqlx::query(
        "UPDATE kiln_load_flasks SET left_at = $2 WHERE kiln_load_id = $1 AND left_at IS NULL",
    )
    .bind(load)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// One of these flasks that has not set by a moment.
pub(super) async fn not_set(
    conn: &mut PgConnection,
    flasks: &[FlaskId],
    now: Moment,
) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT number FROM flasks WHERE id = ANY($1) AND (set_from_at IS NULL OR set_from_at > $2) ORDER BY number LIMIT 1",
    )
    .bind(flasks)
    .bind(now)
    .fetch_optional(conn)
    .await
}

/// A flask of a load that is still to be poured.
pub(super) async fn unpoured(
    conn: &mut PgConnection,
    load: KilnLoadId,
) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT f.number FROM kiln_load_flasks lf JOIN flasks f ON f.id = lf.flask_id
         WHERE lf.kiln_load_id = $1 AND lf.left_at IS NULL AND f.state IN ('in_kiln', 'hot') ORDER BY f.number LIMIT 1",
    )
    .bind(load)
    .fetch_optional(conn)
    .await
}

/// The kiln of a load with the other load that it fires now.
pub(super) async fn fires_another(
    conn: &mut PgConnection,
    load: KilnLoadId,
) -> Result<Option<(String, i32)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT k.name, other.number FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id
         JOIN kiln_loads other ON other.kiln_id = l.kiln_id AND other.id <> l.id AND other.state IN ('burning', 'held')
         WHERE l.id = $1",
    )
    .bind(load)
    .fetch_optional(conn)
    .await
}

/// A load that ended is held again, with the flasks that left it then and are still in the house.
pub(super) async fn unended(conn: &mut PgConnection, load: KilnLoadId) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE kiln_load_flasks lf SET left_at = NULL FROM kiln_loads l, flasks f
         WHERE l.id = $1 AND lf.kiln_load_id = l.id AND l.state = 'ended' AND lf.left_at = l.ended_at
           AND f.id = lf.flask_id AND f.state NOT IN ('divested', 'cancelled')",
    )
    .bind(load)
    .execute(&mut *conn)
    .await?;
    sqlx::query("UPDATE kiln_loads SET state = 'held', ended_at = NULL, version = version + 1 WHERE id = $1 AND state = 'ended'")
        .bind(load)
        .execute(conn)
        .await?;
    Ok(())
}
