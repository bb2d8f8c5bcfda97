//! All SQL that writes the records of finishing.

use sqlx::{FromRow, PgConnection};

use crate::clock::Moment;
use crate::id::{AlloyId, AttemptId, FinishingId, MetalBatchId, PersonId, PieceId};

/// The record of an attempt at the bench.
#[derive(Clone, Debug, FromRow)]
pub(super) struct FinishingRow {
    pub(super) raw_cg: Option<i64>,
    pub(super) finished_cg: Option<i64>,
    pub(super) minutes: Option<i32>,
    pub(super) passed: Option<bool>,
}

/// What an attempt is made of, and whether its flask has yet to be divested.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Material {
    pub(super) attempt: AttemptId,
    pub(super) alloy_id: AlloyId,
    pub(super) undivested: Option<i32>,
    /// What its model weighs in the alloy; none for an open one.
    pub(super) model_g: Option<f64>,
    /// What was poured into its flask.
    pub(super) poured_cg: Option<i64>,
}

/// The last attempt at a piece.
pub(super) async fn material(
    conn: &mut PgConnection,
    piece: PieceId,
) -> Result<Material, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id AS attempt, l.alloy_id,
                (SELECT f.number FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
                  WHERE fp.attempt_id = t.id AND f.state = 'poured' LIMIT 1) AS undivested,
                v.volume_mm3 / 1000 * a.density_g_cm3 AS model_g,
                (SELECT x.fresh_cg + x.returns_cg + x.own_cg FROM flask_pieces fp JOIN pours x ON x.flask_id = fp.flask_id
                  WHERE fp.attempt_id = t.id ORDER BY x.poured_at DESC LIMIT 1) AS poured_cg
         FROM pieces p JOIN order_lines l ON l.id = p.order_line_id JOIN alloys a ON a.id = l.alloy_id
         JOIN design_versions v ON v.id = l.design_version_id JOIN attempts t ON t.piece_id = p.id
         WHERE p.id = $1 ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1",
    )
    .bind(piece)
    .fetch_one(conn)
    .await
}

pub(super) async fn find(
    conn: &mut PgConnection,
    attempt: AttemptId,
) -> Result<Option<FinishingRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT raw_cg, finished_cg, minutes, passed FROM finishing WHERE attempt_id = $1",
    )
    .bind(attempt)
    .fetch_optional(conn)
    .await
}

/// Begins the record of an attempt, or begins it anew.
pub(super) async fn begin(
    conn: &mut PgConnection,
    attempt: AttemptId,
    raw_cg: i64,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO finishing (id, attempt_id, begun_at, raw_cg, person_id) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (attempt_id) DO UPDATE SET begun_at = EXCLUDED.begun_at, raw_cg = EXCLUDED.raw_cg,
             finished_cg = NULL, minutes = NULL, passed = NULL, ended_at = NULL, person_id = EXCLUDED.person_id",
    )
    .bind(FinishingId::new())
    .bind(attempt)
    .bind(now)
    .bind(raw_cg)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// How finishing ended.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ending {
    pub(super) passed: bool,
    pub(super) raw_cg: i64,
    pub(super) finished_cg: Option<i64>,
    pub(super) minutes: Option<i32>,
}

pub(super) async fn end(
    conn: &mut PgConnection,
    attempt: AttemptId,
    ending: &Ending,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE finishing SET passed = $2, raw_cg = $3, finished_cg = $4, minutes = $5, ended_at = $6,
             person_id = $7 WHERE attempt_id = $1",
    )
    .bind(attempt)
    .bind(ending.passed)
    .bind(ending.raw_cg)
    .bind(ending.finished_cg)
    .bind(ending.minutes)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// The end was recorded by mistake; what was weighed is kept.
pub(super) async fn reopen(conn: &mut PgConnection, attempt: AttemptId) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE finishing SET passed = NULL, ended_at = NULL WHERE attempt_id = $1")
        .bind(attempt)
        .execute(conn)
        .await?;
    Ok(())
}

/// The last entry of a kind about a subject that was not reversed.
pub(super) async fn last_entry(
    conn: &mut PgConnection,
    subject: &str,
    kind: &str,
) -> Result<Option<MetalBatchId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT b.id FROM metal_batches b WHERE b.subject = $1 AND b.kind = $2
           AND NOT EXISTS (SELECT 1 FROM metal_batches r WHERE r.reverses = b.id)
         ORDER BY b.at DESC, b.id DESC LIMIT 1",
    )
    .bind(subject)
    .bind(kind)
    .fetch_optional(conn)
    .await
}
