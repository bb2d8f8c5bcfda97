//! What the finishing of pieces does to metal, inside the caller's transaction.

use sqlx::PgConnection;

use super::ledger::{self, Entry, held};
use super::model::{Account, Kind, Move};
use crate::clock::Moment;
use crate::id::{AlloyId, PersonId};
use crate::web::{Fault, Refused};

/// A piece is finished: what was taken off it is kept as filings.
pub async fn finish_piece(
    conn: &mut PgConnection,
    at: Moment,
    person: PersonId,
    alloy: AlloyId,
    label: &str,
    raw_cg: i64,
    finished_cg: i64,
) -> Result<(), Fault> {
    if finished_cg > raw_cg {
        return Err(Refused::input(
            "finished",
            "A piece cannot weigh more after finishing than before; check both weights.",
        )
        .into());
    }
    leaves_pieces(
        conn,
        (Kind::Finished, Account::Filings),
        at,
        person,
        alloy,
        label,
        raw_cg - finished_cg,
    )
    .await
}

/// A finished piece goes to its client.
pub async fn deliver(
    conn: &mut PgConnection,
    at: Moment,
    person: PersonId,
    alloy: AlloyId,
    label: &str,
    cg: i64,
) -> Result<(), Fault> {
    leaves_pieces(conn, (Kind::Delivered, Account::Delivered), at, person, alloy, label, cg).await
}

/// A casting that failed at the bench becomes returns.
pub async fn scrap(
    conn: &mut PgConnection,
    at: Moment,
    person: PersonId,
    alloy: AlloyId,
    label: &str,
    cg: i64,
) -> Result<(), Fault> {
    leaves_pieces(conn, (Kind::Scrapped, Account::Returns), at, person, alloy, label, cg).await
}

async fn leaves_pieces(
    conn: &mut PgConnection,
    (kind, to): (Kind, Account),
    at: Moment,
    person: PersonId,
    alloy: AlloyId,
    label: &str,
    cg: i64,
) -> Result<(), Fault> {
    if cg == 0 {
        return Ok(());
    }
    ledger::lock(conn, alloy).await?;
    let subject = format!("piece:{label}");
    let mut entry = Entry::new(kind, at, Some(person), &subject);
    let mut moves = Vec::new();
    let short = cg - held(&mut *conn, alloy, Account::Pieces).await?;
    if short > 0 && short <= scale_spread(cg) {
        entry.note = "A little more than was weighed when the tree was cut apart.";
        moves.push(Move::new(Account::Difference, Account::Pieces, short));
    }
    moves.push(Move::new(Account::Pieces, to, cg));
    ledger::post(conn, &entry, alloy, &moves).await?;
    Ok(())
}

/// How far a weighing may go beyond what the ledger knows of before it is taken
/// for a slip: pieces weighed one by one do not add up to what they weighed
/// together, for every weighing is rounded. Two parts in a hundred, 0.10 g at
/// least. Common practice, no source.
fn scale_spread(cg: i64) -> i64 {
    (cg / 50).max(10)
}
