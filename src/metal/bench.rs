//! What leaves the finishing bench, inside the caller's transaction.

use sqlx::PgConnection;

use super::ledger::{self, Entry, held};
use super::model::{Account, Move};
use crate::id::AlloyId;
use crate::web::Fault;

/// Metal of pieces goes elsewhere: to the filings what was taken off, to the
/// client what is handed over, to the returns what failed. Nothing moves nothing.
///
/// Castings are weighed together when a flask is divested and one by one at the
/// bench, so what was weighed may be a little more than the ledger knows of; that
/// is posted as a difference. Anything beyond is refused.
pub async fn leave_bench(
    conn: &mut PgConnection,
    entry: &Entry<'_>,
    alloy: AlloyId,
    to: Account,
    cg: i64,
) -> Result<(), Fault> {
    leave_bench_to(conn, entry, alloy, &[(to, cg)]).await
}

/// The same to several places at once, as one entry.
pub async fn leave_bench_to(
    conn: &mut PgConnection,
    entry: &Entry<'_>,
    alloy: AlloyId,
    to: &[(Account, i64)],
) -> Result<(), Fault> {
    let cg: i64 = to.iter().map(|(_, cg)| *cg).sum();
    if cg == 0 {
        return Ok(());
    }
    ledger::lock(conn, alloy).await?;
    let missing = cg - held(&mut *conn, alloy, Account::Pieces).await?;
    let mut moves = Vec::with_capacity(1 + to.len());
    if (1..=weighing_spread(cg)).contains(&missing) {
        moves.push(Move::new(Account::Difference, Account::Pieces, missing));
    }
    moves.extend(to.iter().map(|(to, cg)| Move::new(Account::Pieces, *to, *cg)));
    ledger::post(conn, entry, alloy, &moves).await?;
    Ok(())
}

/// How far a weighing may go beyond what the ledger knows of before it is taken
/// for a slip, in centigrams: two parts in a hundred, 0.10 g at least. Common
/// practice, no source.
fn weighing_spread(cg: i64) -> i64 {
    (cg / 50).max(10)
}
