//! A piece that is further on takes the place of another of the same make.

use serde_json::json;
use sqlx::PgConnection;

use super::actions::{Act, ActFault};
use super::model::{PieceRefusal, Standing, State};
use super::store;
use crate::id::PieceId;

/// Exchanges what is being made for two pieces: each gets the other's attempt, with its stage,
/// its boxes and the batches it is in. Both must be in the making, or ready.
pub async fn swap(
    conn: &mut PgConnection,
    one: PieceId,
    other: PieceId,
    act: &Act<'_>,
) -> Result<(), ActFault> {
    let locked = store::lock(conn, &[one, other]).await?;
    let [first, second] = locked.as_slice() else { return Err(sqlx::Error::RowNotFound.into()) };
    for piece in [first, second] {
        let state = piece.state();
        if matches!(state.standing, Standing::HandedOver | Standing::Cancelled) {
            return Err(PieceRefusal::NotThere {
                label: piece.label.clone(),
                now_words: state.words(),
                wanted: "change places with another".to_owned(),
            }
            .into());
        }
    }
    let of_first = store::open_attempt(conn, first.id).await?;
    let of_second = store::open_attempt(conn, second.id).await?;
    // For a moment both are over, so that neither piece has two that are not.
    for attempt in [of_first, of_second] {
        store::end_attempt(conn, attempt, "cancelled", None, act.now).await?;
    }
    store::give_attempt(conn, of_first, second.id, second.state().attempt_n).await?;
    store::give_attempt(conn, of_second, first.id, first.state().attempt_n).await?;
    for attempt in [of_first, of_second] {
        store::reopen_attempt(conn, attempt).await?;
    }
    for (piece, attempt, from) in [(first, of_second, second), (second, of_first, first)] {
        let state = State { attempt_n: piece.state().attempt_n, ..from.state() };
        let note = format!("What was being made as {} is {} from now on.", from.label, piece.label);
        let detail = json!({ "with": from.label });
        let act = act.clone().noting(&note).with(detail);
        let version =
            store::add_plain_event(conn, piece.id, attempt, "swapped", state.stage, &act).await?;
        store::write_state(conn, piece.id, state, version, act.now).await?;
    }
    Ok(())
}
