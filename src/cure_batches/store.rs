//! All SQL that writes cure batches.

use sqlx::{FromRow, PgConnection};

use super::model::CureState;
use crate::clock::Moment;
use crate::id::{AttemptId, CureBatchId, PieceId};

/// A batch held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct LockedBatch {
    pub(super) id: CureBatchId,
    pub(super) state: CureState,
    pub(super) version: i64,
    pub(super) wash_minutes: i32,
    pub(super) cure_minutes: i32,
}

pub(super) async fn lock(conn: &mut PgConnection, number: i32) -> Result<LockedBatch, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, state, version, wash_minutes, cure_minutes FROM cure_batches
         WHERE number = $1 FOR UPDATE",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

/// What a batch is made with.
#[derive(Clone, Debug)]
pub(super) struct Chosen<'a> {
    pub(super) wash: &'a str,
    pub(super) wash_minutes: i32,
    pub(super) medium: &'a str,
    pub(super) cure_minutes: i32,
    pub(super) note: &'a str,
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    id: CureBatchId,
    chosen: &Chosen<'_>,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO cure_batches (id, wash, wash_minutes, medium, cure_minutes, note, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7) RETURNING number",
    )
    .bind(id)
    .bind(chosen.wash)
    .bind(chosen.wash_minutes)
    .bind(chosen.medium)
    .bind(chosen.cure_minutes)
    .bind(chosen.note)
    .bind(now)
    .fetch_one(conn)
    .await
}

pub(super) async fn put_in(
    conn: &mut PgConnection,
    batch: CureBatchId,
    attempts: &[AttemptId],
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO cure_batch_pieces (cure_batch_id, attempt_id) SELECT $1, unnest($2::uuid[])",
    )
    .bind(batch)
    .bind(attempts)
    .execute(conn)
    .await?;
    Ok(())
}

/// A piece held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct HeldPiece {
    pub(super) piece: PieceId,
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    /// Whether this attempt waits for cure.
    pub(super) waits: bool,
    /// The batch it is in already.
    pub(super) batch: Option<i32>,
}

const HELD: &str = "SELECT p.id AS piece, t.id AS attempt, p.label,
        (t.ended_at IS NULL AND p.stage = 'cure' AND p.standing = 'waiting') AS waits,
        (SELECT b.number FROM cure_batch_pieces o JOIN cure_batches b ON b.id = o.cure_batch_id
          WHERE o.attempt_id = t.id AND o.left_at IS NULL) AS batch
    FROM attempts t JOIN pieces p ON p.id = t.piece_id";

/// Holds the pieces of some attempts, always in the same order.
pub(super) async fn hold(
    conn: &mut PgConnection,
    attempts: &[AttemptId],
) -> Result<Vec<HeldPiece>, sqlx::Error> {
    let sql = format!("{HELD} WHERE t.id = ANY($1) ORDER BY p.id FOR UPDATE OF p");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(attempts).fetch_all(conn).await
}

/// Holds the pieces that are in a batch.
pub(super) async fn hold_in_batch(
    conn: &mut PgConnection,
    batch: CureBatchId,
) -> Result<Vec<HeldPiece>, sqlx::Error> {
    let sql = format!(
        "{HELD} JOIN cure_batch_pieces o ON o.attempt_id = t.id
         WHERE o.cure_batch_id = $1 AND o.left_at IS NULL ORDER BY p.id FOR UPDATE OF p"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(batch).fetch_all(conn).await
}

/// The longest wash and cure that the resins of some attempts ask for.
pub(super) async fn minutes_of_resins(
    conn: &mut PgConnection,
    attempts: &[AttemptId],
) -> Result<(Option<i32>, Option<i32>), sqlx::Error> {
    sqlx::query_as(
        "SELECT max(r.wash_minutes), max(r.cure_minutes)
         FROM attempt_stages g JOIN plates p ON g.batch = 'plate:' || p.number
         JOIN resin_lots l ON l.id = p.resin_lot_id JOIN resins r ON r.id = l.resin_id
         WHERE g.attempt_id = ANY($1) AND g.stage = 'print'",
    )
    .bind(attempts)
    .fetch_one(conn)
    .await
}

/// Takes one piece out; says whether it was in.
pub(super) async fn take_out(
    conn: &mut PgConnection,
    batch: CureBatchId,
    attempt: AttemptId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE cure_batch_pieces SET left_at = $3
         WHERE cure_batch_id = $1 AND attempt_id = $2 AND left_at IS NULL",
    )
    .bind(batch)
    .bind(attempt)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes everything out.
pub(super) async fn clear(
    conn: &mut PgConnection,
    batch: CureBatchId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE cure_batch_pieces SET left_at = $2 WHERE cure_batch_id = $1 AND left_at IS NULL",
    )
    .bind(batch)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Moves a batch on; `ended_at` once it is done or cancelled.
pub(super) async fn move_on(
    conn: &mut PgConnection,
    batch: CureBatchId,
    state: CureState,
    ended_at: Option<Moment>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE cure_batches SET state = $2, ended_at = $3, version = version + 1 WHERE id = $1",
    )
    .bind(batch)
    .bind(state)
    .bind(ended_at)
    .execute(conn)
    .await?;
    Ok(())
}

/// A batch that was not done yet cures again, with what was in it; its pieces.
pub(super) async fn reopen(
    conn: &mut PgConnection,
    batch: CureBatchId,
) -> Result<Vec<PieceId>, sqlx::Error> {
    let pieces = sqlx::query_scalar(
        "UPDATE cure_batch_pieces o SET left_at = NULL FROM cure_batches b, attempts t
         WHERE b.id = $1 AND o.cure_batch_id = b.id AND o.left_at = b.ended_at AND t.id = o.attempt_id
         RETURNING t.piece_id",
    )
    .bind(batch)
    .fetch_all(&mut *conn)
    .await?;
    move_on(conn, batch, CureState::Curing, None).await?;
    Ok(pieces)
}
