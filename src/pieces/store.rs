//! All SQL that writes the tables of pieces.

use sqlx::{FromRow, PgConnection};

use super::actions::Act;
use super::model::{Happening, PieceRefusal, Stage, Standing, State};
use crate::clock::Moment;
use crate::id::{AttemptId, OrderId, OrderLineId, PieceId};

/// A piece held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub struct LockedPiece {
    /// Which one.
    pub id: PieceId,
    /// Its order.
    pub order_id: OrderId,
    /// Its label.
    pub label: String,
    attempt_n: i32,
    stage: Stage,
    standing: Standing,
    /// The id of its last event; a form that has seen an older one is stale.
    pub version: i64,
}

impl LockedPiece {
    /// How it stands.
    #[must_use]
    pub fn state(&self) -> State {
        State { attempt_n: self.attempt_n, stage: self.stage, standing: self.standing }
    }

    /// Refuses a form that was made before something else happened to the piece.
    pub fn seen(&self, version: i64) -> Result<(), PieceRefusal> {
        if self.version == version {
            Ok(())
        } else {
            Err(PieceRefusal::Stale { label: self.label.clone() })
        }
    }
}

/// Holds pieces for the rest of the transaction, always in the same order so
/// that two batches with pieces in common wait for each other and never deadlock.
pub async fn lock(
    conn: &mut PgConnection,
    pieces: &[PieceId],
) -> Result<Vec<LockedPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, order_id, label, attempt_n, stage::text AS stage, standing, version FROM pieces
         WHERE id = ANY($1) ORDER BY id FOR UPDATE",
    )
    .bind(pieces)
    .fetch_all(conn)
    .await
}

/// Holds one piece by its label.
pub async fn lock_by_label(
    conn: &mut PgConnection,
    label: &str,
) -> Result<LockedPiece, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, order_id, label, attempt_n, stage::text AS stage, standing, version FROM pieces
         WHERE label = $1 FOR UPDATE",
    )
    .bind(label)
    .fetch_one(conn)
    .await
}

pub(super) async fn open_attempt(
    conn: &mut PgConnection,
    piece: PieceId,
) -> Result<AttemptId, sqlx::Error> {
    sqlx::query_scalar("SELECT id FROM attempts WHERE piece_id = $1 ORDER BY (ended_at IS NULL) DESC, ended_at DESC LIMIT 1")
        .bind(piece)
        .fetch_one(conn)
        .await
}

pub(super) async fn add_event(
    conn: &mut PgConnection,
    piece: PieceId,
    attempt: AttemptId,
    happening: &Happening,
    stage: Stage,
    act: &Act<'_>,
) -> Result<i64, sqlx::Error> {
    let cause =
        if let Happening::Failed(_, cause) = happening { Some(cause.as_str()) } else { None };
    sqlx::query_scalar(
        "INSERT INTO piece_events (piece_id, attempt_id, kind, stage, at, person_id, batch, cause, note, detail)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) RETURNING id",
    )
    .bind(piece)
    .bind(attempt)
    .bind(happening.kind())
    .bind(stage)
    .bind(act.now)
    .bind(act.person)
    .bind(act.batch)
    .bind(cause)
    .bind(act.note)
    .bind(&act.detail)
    .fetch_one(conn)
    .await
}

/// An event from which nothing follows but what its writer writes.
pub(super) async fn add_plain_event(
    conn: &mut PgConnection,
    piece: PieceId,
    attempt: AttemptId,
    kind: &str,
    stage: Stage,
    act: &Act<'_>,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO piece_events (piece_id, attempt_id, kind, stage, at, person_id, note, detail)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING id",
    )
    .bind(piece)
    .bind(attempt)
    .bind(kind)
    .bind(stage)
    .bind(act.now)
    .bind(act.person)
    .bind(act.note)
    .bind(&act.detail)
    .fetch_one(conn)
    .await
}

/// Gives an attempt to another piece, as its `n`th.
pub(super) async fn give_attempt(
    conn: &mut PgConnection,
    attempt: AttemptId,
    piece: PieceId,
    n: i32,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE attempts SET piece_id = $2, n = $3 WHERE id = $1")
        .bind(attempt)
        .bind(piece)
        .bind(n)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn add_queued(
    conn: &mut PgConnection,
    piece: PieceId,
    n: i32,
    act: &Act<'_>,
) -> Result<i64, sqlx::Error> {
    let attempt = AttemptId::new();
    sqlx::query("INSERT INTO attempts (id, piece_id, n, begun_at) VALUES ($1, $2, $3, $4)")
        .bind(attempt)
        .bind(piece)
        .bind(n)
        .bind(act.now)
        .execute(&mut *conn)
        .await?;
    sqlx::query_scalar(
        "INSERT INTO piece_events (piece_id, attempt_id, kind, stage, at, person_id, batch, note)
         VALUES ($1, $2, 'queued', 'print', $3, $4, $5, $6) RETURNING id",
    )
    .bind(piece)
    .bind(attempt)
    .bind(act.now)
    .bind(act.person)
    .bind(act.batch)
    .bind(act.note)
    .fetch_one(conn)
    .await
}

pub(super) async fn add_undo(
    conn: &mut PgConnection,
    piece: PieceId,
    attempt: AttemptId,
    stage: Stage,
    undoes: i64,
    act: &Act<'_>,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO piece_events (piece_id, attempt_id, kind, stage, at, person_id, note, undoes)
         VALUES ($1, $2, 'undone', $3, $4, $5, $6, $7) RETURNING id",
    )
    .bind(piece)
    .bind(attempt)
    .bind(stage)
    .bind(act.now)
    .bind(act.person)
    .bind(act.note)
    .bind(undoes)
    .fetch_one(conn)
    .await
}

pub(super) async fn write_state(
    conn: &mut PgConnection,
    piece: PieceId,
    state: State,
    version: i64,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE pieces SET attempt_n = $2, stage = $3, standing = $4, version = $5, changed_at = $6 WHERE id = $1",
    )
    .bind(piece)
    .bind(state.attempt_n)
    .bind(state.stage)
    .bind(state.standing)
    .bind(version)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Fills in the route card's box of a stage.
pub(super) async fn write_box(
    conn: &mut PgConnection,
    attempt: AttemptId,
    happening: &Happening,
    stage: Stage,
    act: &Act<'_>,
) -> Result<(), sqlx::Error> {
    let sql = match happening {
        Happening::Entered(_) => {
            "INSERT INTO attempt_stages (attempt_id, stage, entered_at, batch) VALUES ($1, $2, $3, $4)
             ON CONFLICT (attempt_id, stage) DO UPDATE SET entered_at = EXCLUDED.entered_at, batch = EXCLUDED.batch"
        }
        Happening::Left(_) => {
            "DELETE FROM attempt_stages WHERE attempt_id = $1 AND stage = $2 AND $3::timestamptz IS NOT NULL AND coalesce($4::text, '') IS NOT NULL"
        }
        Happening::Finished(_) => {
            "INSERT INTO attempt_stages (attempt_id, stage, finished_at, batch) VALUES ($1, $2, $3, $4)
             ON CONFLICT (attempt_id, stage) DO UPDATE SET finished_at = EXCLUDED.finished_at,
                 batch = coalesce(EXCLUDED.batch, attempt_stages.batch)"
        }
        Happening::Failed(..) => {
            "INSERT INTO attempt_stages (attempt_id, stage, failed_at, batch) VALUES ($1, $2, $3, $4)
             ON CONFLICT (attempt_id, stage) DO UPDATE SET failed_at = EXCLUDED.failed_at"
        }
        // The boxes are those of the last time through.
        Happening::SentBack(_) => {
            "DELETE FROM attempt_stages WHERE attempt_id = $1 AND $3::timestamptz IS NOT NULL AND coalesce($4::text, '') IS NOT NULL
               AND array_position(ARRAY['print', 'cure', 'invest', 'burnout', 'cast', 'finish'], stage::text)
                >= array_position(ARRAY['print', 'cure', 'invest', 'burnout', 'cast', 'finish'], $2::text)"
        }
        _ => return Ok(()),
    };
    sqlx::query(sql).bind(attempt).bind(stage).bind(act.now).bind(act.batch).execute(conn).await?;
    Ok(())
}

pub(super) async fn end_attempt(
    conn: &mut PgConnection,
    attempt: AttemptId,
    outcome: &str,
    failure: Option<(Stage, &str)>,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE attempts SET ended_at = $2, outcome = $3, failed_at_stage = $4, cause = $5 WHERE id = $1",
    )
    .bind(attempt)
    .bind(now)
    .bind(outcome)
    .bind(failure.map(|(stage, _)| stage))
    .bind(failure.map(|(_, cause)| cause))
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn reopen_attempt(
    conn: &mut PgConnection,
    attempt: AttemptId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE attempts SET ended_at = NULL, outcome = NULL, failed_at_stage = NULL, cause = NULL WHERE id = $1",
    )
    .bind(attempt)
    .execute(&mut *conn)
    .await?;
    Ok(())
}

/// Whether an attempt is on an open plate, in an open cure batch or in a flask.
pub(super) async fn is_in_a_batch(
    conn: &mut PgConnection,
    attempt: AttemptId,
) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM plate_pieces WHERE attempt_id = $1 AND left_at IS NULL)
             OR EXISTS (SELECT 1 FROM cure_batch_pieces WHERE attempt_id = $1 AND left_at IS NULL)
             OR EXISTS (SELECT 1 FROM flask_pieces WHERE attempt_id = $1 AND left_at IS NULL)",
    )
    .bind(attempt)
    .fetch_one(conn)
    .await
}

/// The flask with which an attempt was lost.
pub(super) async fn lost_with(
    conn: &mut PgConnection,
    attempt: AttemptId,
) -> Result<Option<i32>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT f.number FROM flask_pieces fp JOIN flasks f ON f.id = fp.flask_id
         WHERE fp.attempt_id = $1 AND fp.left_at = f.lost_at",
    )
    .bind(attempt)
    .fetch_optional(conn)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct EventRow {
    pub(super) id: i64,
    pub(super) attempt_id: AttemptId,
    pub(super) kind: String,
    pub(super) stage: Stage,
    pub(super) batch: Option<String>,
}

/// The events of a piece that still count, newest first, without notes.
pub(super) async fn standing_events(
    conn: &mut PgConnection,
    piece: PieceId,
) -> Result<Vec<EventRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT e.id, e.attempt_id, e.kind, e.stage::text AS stage, e.batch FROM piece_events e
         WHERE e.piece_id = $1 AND e.kind NOT IN ('undone', 'noted')
           AND NOT EXISTS (SELECT 1 FROM piece_events u WHERE u.undoes = e.id)
         ORDER BY e.id DESC",
    )
    .bind(piece)
    .fetch_all(conn)
    .await
}

/// Empties the mark of a failure that was taken back.
pub(super) async fn clear_box_failure(
    conn: &mut PgConnection,
    attempt: AttemptId,
    stage: Stage,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE attempt_stages SET failed_at = NULL WHERE attempt_id = $1 AND stage = $2")
        .bind(attempt)
        .bind(stage)
        .execute(&mut *conn)
        .await?;
    Ok(())
}

pub(super) async fn clear_box_finish(
    conn: &mut PgConnection,
    attempt: AttemptId,
    stage: Stage,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE attempt_stages SET finished_at = NULL WHERE attempt_id = $1 AND stage = $2",
    )
    .bind(attempt)
    .bind(stage)
    .execute(&mut *conn)
    .await?;
    Ok(())
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct LineRow {
    pub(super) id: OrderLineId,
    pub(super) quantity: i32,
}

pub(super) async fn lines_of(
    conn: &mut PgConnection,
    order: OrderId,
) -> Result<Vec<LineRow>, sqlx::Error> {
    sqlx::query_as("SELECT id, quantity FROM order_lines WHERE order_id = $1 AND removed_at IS NULL ORDER BY n")
        .bind(order)
        .fetch_all(conn)
        .await
}

pub(super) async fn add_piece(
    conn: &mut PgConnection,
    order: OrderId,
    line: OrderLineId,
    n: i32,
    label: &str,
    now: Moment,
) -> Result<PieceId, sqlx::Error> {
    let id = PieceId::new();
    sqlx::query(
        "INSERT INTO pieces (id, order_id, order_line_id, n, label, created_at, changed_at) VALUES ($1, $2, $3, $4, $5, $6, $6)",
    )
    .bind(id)
    .bind(order)
    .bind(line)
    .bind(n)
    .bind(label)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(id)
}
