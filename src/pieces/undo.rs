//! Taking back what was recorded by mistake: later events that correct earlier ones.

use sqlx::PgConnection;

use super::actions::{Act, ActFault, Recorded};
use super::model::{PieceRefusal, Stage, Standing, State};
use super::store::{self, EventRow, LockedPiece};
use crate::id::PieceId;

/// Takes back the last thing that happened to a piece, if nothing hangs on it
/// yet: a failure whose next attempt has not begun, a finished finish, a
/// hand-over, a cancellation. `seen` is the version the person was looking at.
pub async fn undo(
    conn: &mut PgConnection,
    piece: PieceId,
    seen: i64,
    act: &Act<'_>,
) -> Result<Recorded, ActFault> {
    let Some(piece) = store::lock(conn, &[piece]).await?.pop() else {
        return Err(sqlx::Error::RowNotFound.into());
    };
    if piece.version != seen {
        return Err(PieceRefusal::Stale { label: piece.label }.into());
    }
    let mut events = store::standing_events(conn, piece.id).await?.into_iter();
    let last = events.next().ok_or_else(|| not_undoable(&piece))?;
    let (undone, restored) = match last.kind.as_str() {
        // A failure queued the next attempt: both go together.
        "queued" => {
            let failed = events
                .next()
                .filter(|event| event.kind == "failed")
                .ok_or_else(|| not_undoable(&piece))?;
            if let Some(flask) = store::lost_with(conn, failed.attempt_id).await? {
                return Err(PieceRefusal::FlaskLost { label: piece.label, flask }.into());
            }
            let before = stood(events.next().as_ref(), failed.stage);
            let state = reopen_failed(conn, &piece, &last, &failed, before, act).await?;
            (failed, state)
        }
        "finished" if last.stage == Stage::Finish => {
            store::clear_box_finish(conn, last.attempt_id, last.stage).await?;
            let state = State { standing: Standing::InHand, ..piece.state() };
            (last, state)
        }
        "handed_over" => {
            store::reopen_attempt(conn, last.attempt_id).await?;
            let state = State { standing: Standing::Ready, ..piece.state() };
            (last, state)
        }
        "cancelled" => {
            store::reopen_attempt(conn, last.attempt_id).await?;
            let state = State { standing: Standing::Waiting, ..piece.state() };
            (last, state)
        }
        _ => return Err(not_undoable(&piece)),
    };
    write(conn, piece, &undone, restored, act).await
}

/// Takes back the end of a stage for everything that ended it in a batch, such as
/// `plate:41`: what finished or failed there is in hand again. The batch itself must
/// have been opened again before. All of them, or none: what has gone on refuses.
pub async fn reopen(
    conn: &mut PgConnection,
    pieces: &[PieceId],
    stage: Stage,
    batch: &str,
    act: &Act<'_>,
) -> Result<Vec<Recorded>, ActFault> {
    let mut recorded = Vec::with_capacity(pieces.len());
    for piece in store::lock(conn, pieces).await? {
        let mut events = store::standing_events(conn, piece.id).await?.into_iter();
        let here = |event: &EventRow| event.stage == stage && event.batch.as_deref() == Some(batch);
        let last = events.next().ok_or_else(|| not_undoable(&piece))?;
        let (undone, restored) = match last.kind.as_str() {
            "finished" if here(&last) => {
                store::clear_box_finish(conn, last.attempt_id, stage).await?;
                let state = State { stage, standing: Standing::InHand, ..piece.state() };
                (last, state)
            }
            "queued" => {
                let failed = events
                    .next()
                    .filter(|event| event.kind == "failed" && here(event))
                    .ok_or_else(|| not_undoable(&piece))?;
                let before = (stage, Standing::InHand);
                let state = reopen_failed(conn, &piece, &last, &failed, before, act).await?;
                (failed, state)
            }
            _ => return Err(not_undoable(&piece)),
        };
        recorded.push(write(conn, piece, &undone, restored, act).await?);
    }
    Ok(recorded)
}

/// Takes back that everything in a batch failed, such as `flask:214`: each piece stands as it
/// did before. The batch itself must have been opened again before. All of them, or none.
pub async fn unfail(
    conn: &mut PgConnection,
    pieces: &[PieceId],
    batch: &str,
    act: &Act<'_>,
) -> Result<Vec<Recorded>, ActFault> {
    let mut recorded = Vec::with_capacity(pieces.len());
    for piece in store::lock(conn, pieces).await? {
        let mut events = store::standing_events(conn, piece.id).await?.into_iter();
        let last = events.next().filter(|event| event.kind == "queued");
        let failed = events
            .next()
            .filter(|event| event.kind == "failed" && event.batch.as_deref() == Some(batch));
        let (Some(last), Some(failed)) = (last, failed) else { return Err(not_undoable(&piece)) };
        let before = stood(events.next().as_ref(), failed.stage);
        let state = reopen_failed(conn, &piece, &last, &failed, before, act).await?;
        recorded.push(write(conn, piece, &failed, state, act).await?);
    }
    Ok(recorded)
}

fn not_undoable(piece: &LockedPiece) -> ActFault {
    PieceRefusal::NotUndoable { label: piece.label.clone() }.into()
}

/// Gives up the attempt that a failure queued, and opens the failed one again.
async fn reopen_failed(
    conn: &mut PgConnection,
    piece: &LockedPiece,
    queued: &EventRow,
    failed: &EventRow,
    (stage, standing): (Stage, Standing),
    act: &Act<'_>,
) -> Result<State, ActFault> {
    store::end_attempt(conn, queued.attempt_id, "cancelled", None, act.now).await?;
    store::add_undo(conn, piece.id, queued.attempt_id, queued.stage, queued.id, act).await?;
    store::reopen_attempt(conn, failed.attempt_id).await?;
    store::clear_box_failure(conn, failed.attempt_id, failed.stage).await?;
    // Its batch may have gone on without it; then there is no way back.
    // At finish a piece is in nobody's batch.
    if standing == Standing::InHand
        && failed.stage != Stage::Finish
        && !store::is_in_a_batch(conn, failed.attempt_id).await?
    {
        return Err(not_undoable(piece));
    }
    Ok(State { attempt_n: piece.state().attempt_n - 1, stage, standing })
}

async fn write(
    conn: &mut PgConnection,
    piece: LockedPiece,
    undone: &EventRow,
    restored: State,
    act: &Act<'_>,
) -> Result<Recorded, ActFault> {
    let version =
        store::add_undo(conn, piece.id, undone.attempt_id, undone.stage, undone.id, act).await?;
    store::write_state(conn, piece.id, restored, version, act.now).await?;
    Ok(Recorded { piece: piece.id, label: piece.label, state: restored })
}

/// How a piece stood after what happened to it before it failed at a stage.
fn stood(event: Option<&EventRow>, failed_at: Stage) -> (Stage, Standing) {
    match event {
        Some(event) if event.kind == "entered" && event.stage == failed_at => {
            (failed_at, Standing::InHand)
        }
        // It had left this stage behind and failed of it while it waited for the next.
        Some(event) if event.kind == "finished" && event.stage == failed_at => {
            (failed_at.next().unwrap_or(failed_at), Standing::Waiting)
        }
        Some(event) if event.kind == "left" && failed_at.next() == Some(event.stage) => {
            (event.stage, Standing::Waiting)
        }
        _ => (failed_at, Standing::Waiting),
    }
}
