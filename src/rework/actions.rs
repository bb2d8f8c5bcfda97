//! Rework, inside the caller's transaction.

use serde_json::{Value, json};
use sqlx::PgConnection;

use super::{model, store};
use crate::audit;
use crate::clock::Day;
use crate::finishing;
use crate::flasks::FlaskState;
use crate::id::PieceId;
use crate::orders::{self, OrderState};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, LockedPiece, Stage, Standing};
use crate::web::{Fault, Refused};

/// Sends a piece back to a stage; `told` is what was said about cost and delay. To print it goes
/// as a new attempt: the one under way failed where it is, for the reason in `note`.
pub(super) async fn send_back(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
    to: Stage,
    note: &str,
    told: Value,
) -> Result<(), Fault> {
    let flask = store::hold_batches(conn, label).await?;
    let piece = pieces::lock_by_label(conn, label).await?;
    piece.seen(seen).map_err(Refused::from)?;
    model::back_to(piece.state(), to).map_err(Refused::conflict)?;
    if to == Stage::Print {
        return print_again(conn, signed, &piece, note, told).await;
    }
    if let Some((number, state)) = flask
        && piece.state().stage == Stage::Invest
        && !matches!(state, FlaskState::Treeing | FlaskState::Weighed)
    {
        return Err(Refused::conflict(format!(
            "Piece {label} is in flask {number}, and its investment is mixed. Nothing was changed."
        ))
        .into());
    }
    let attempt = store::attempt_of(conn, piece.id).await?;
    if to != Stage::Finish {
        store::leave_batches(conn, attempt, signed.now).await?;
    }
    let act = Act::new(signed.now, Some(signed.person)).noting(note).with(told);
    pieces::record(conn, &[piece.id], &Happening::SentBack(to), &act).await?;
    Ok(())
}

/// Ends the attempt under way as failed where it is; the next one waits for print.
async fn print_again(
    conn: &mut PgConnection,
    signed: &Signed,
    piece: &LockedPiece,
    why: &str,
    told: Value,
) -> Result<(), Fault> {
    if why.is_empty() {
        return Err(Refused::input(
            "why",
            "Say what is wrong with it; the next attempt learns from it. Nothing was changed.",
        )
        .into());
    }
    let attempt = store::attempt_of(conn, piece.id).await?;
    store::leave_batches(conn, attempt, signed.now).await?;
    finishing::scrap(conn, piece, signed.now, Some(signed.person)).await?;
    let act = Act::new(signed.now, Some(signed.person)).noting("Back to print.").with(told);
    if piece.state().standing == Standing::Ready {
        pieces::record(conn, &[piece.id], &Happening::SentBack(Stage::Finish), &act).await?;
    }
    let failed = Happening::Failed(piece.state().stage, why.to_owned());
    pieces::record(conn, &[piece.id], &failed, &act).await?;
    Ok(())
}

/// A piece further on takes the place of another.
pub(super) async fn swap(
    conn: &mut PgConnection,
    signed: &Signed,
    label: &str,
    seen: i64,
    with: &str,
) -> Result<(), Fault> {
    // Both flasks are held before the pieces, in the order of the labels.
    let (first, second) = if label < with { (label, with) } else { (with, label) };
    store::hold_batches(conn, first).await?;
    store::hold_batches(conn, second).await?;
    let one = pieces::lock_by_label(conn, first).await?;
    let other = pieces::lock_by_label(conn, second).await?;
    let (piece, spare) = if one.label == label { (one, other) } else { (other, one) };
    piece.seen(seen).map_err(Refused::from)?;
    let same = store::same_casting(conn, piece.id, spare.id).await?;
    if !same || piece.id == spare.id {
        return Err(Refused::conflict(
            "Only another piece of the same model in the same alloy can take its place.",
        )
        .into());
    }
    let act = Act::new(signed.now, Some(signed.person));
    pieces::swap(conn, piece.id, spare.id, &act).await?;
    Ok(())
}

/// Where pieces of an order go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Target {
    /// To a new order of the same client, due then.
    New(Option<Day>),
    /// To another order of the same client.
    Order(i32),
}

/// Moves pieces of an order to another one; returns that one's number.
pub(super) async fn move_pieces(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    wanted: &[PieceId],
    target: Target,
) -> Result<i32, Fault> {
    // Two who move between the same orders take them in the same order.
    let target_first = match target {
        Target::Order(other) if other < number => Some(orders::lock(conn, other).await?),
        _ => None,
    };
    let from = orders::lock(conn, number).await?;
    if from.version != seen {
        return Err(Refused::stale(&format!("order {number}")).into());
    }
    let making = |state: OrderState| matches!(state, OrderState::Agreed | OrderState::Ready);
    if !making(from.state) {
        return Err(Refused::conflict(format!(
            "Order {number} is not being made, so its pieces stay where they are."
        ))
        .into());
    }
    let (to, to_number) = match target {
        Target::New(due_on) => store::split_off(conn, from.id, due_on, signed.now).await?,
        Target::Order(other) => {
            let to = match target_first {
                Some(held) => held,
                None => orders::lock(conn, other).await?,
            };
            let same = store::same_client(conn, from.id, to.id).await?;
            if to.id == from.id || !same || !making(to.state) {
                return Err(Refused::input(
                    "to",
                    "Choose another order of the same client that is being made.",
                )
                .into());
            }
            (to.id, to.number)
        }
    };
    if store::how_many_of(conn, from.id, wanted).await? != wanted.len() {
        return Err(Refused::stale(&format!("order {number}")).into());
    }
    store::move_pieces(conn, from.id, to, wanted).await?;
    let note = format!("From order {number} to order {to_number}; its label stays.");
    let detail = json!({ "from": number, "to": to_number });
    let act = Act::new(signed.now, Some(signed.person)).noting(&note).with(detail.clone());
    pieces::record(conn, wanted, &Happening::Moved, &act).await?;
    store::settle(conn, &[from.id, to], signed.now).await?;
    let subject = format!("order:{number}");
    audit::note(conn, signed.now, Some(signed.person), "pieces moved", &subject, detail).await?;
    Ok(to_number)
}
