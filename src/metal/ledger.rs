//! Posting to the metal ledger, inside the caller's transaction.

use std::collections::BTreeSet;

use sqlx::{FromRow, PgConnection, PgExecutor};

use super::model::{Account, Kind, MetalRefusal, Move, in_grams};
use crate::clock::Moment;
use crate::id::{AlloyId, MetalAccountId, MetalBatchId, MetalLotId, PersonId};
use crate::web::{Fault, Refused};

/// The head of a batch of postings.
#[derive(Clone, Copy, Debug)]
pub struct Entry<'a> {
    /// What happened.
    pub kind: Kind,
    /// When.
    pub at: Moment,
    /// Who.
    pub person: Option<PersonId>,
    /// About what, such as `flask:214` or `piece:1042-3`.
    pub subject: &'a str,
    /// In their own words.
    pub note: &'a str,
    /// The bought lot it belongs to.
    pub lot: Option<MetalLotId>,
}

impl<'a> Entry<'a> {
    /// An entry without note or lot.
    #[must_use]
    pub const fn new(kind: Kind, at: Moment, person: Option<PersonId>, subject: &'a str) -> Self {
        Self { kind, at, person, subject, note: "", lot: None }
    }
}

/// Two who post to the same alloy take turns, so that neither waits for the
/// other for ever, and what one of them read of it stays true until the commit.
pub(super) async fn lock(conn: &mut PgConnection, alloy: AlloyId) -> Result<(), sqlx::Error> {
    sqlx::query("SELECT pg_advisory_xact_lock(hashtext('metal'), hashtext($1::text))")
        .bind(alloy.0)
        .execute(conn)
        .await?;
    Ok(())
}

/// Posts moves of one alloy as one batch. Metal that is not there cannot be taken.
pub async fn post(
    conn: &mut PgConnection,
    entry: &Entry<'_>,
    alloy: AlloyId,
    moves: &[Move],
) -> Result<MetalBatchId, Fault> {
    let moves: Vec<_> = moves.iter().map(|each| (alloy, *each)).collect();
    lock(conn, alloy).await?;
    post_all(conn, entry, &moves).await
}

/// Posts moves of several alloys as one batch. What is melted from some of them must come
/// to as much as is melted into others; the database sees to it.
pub(super) async fn post_all(
    conn: &mut PgConnection,
    entry: &Entry<'_>,
    moves: &[(AlloyId, Move)],
) -> Result<MetalBatchId, Fault> {
    if moves.iter().any(|(_, each)| each.cg < 0) {
        return Err(Refused::from(MetalRefusal::Negative).into());
    }
    let alloys: BTreeSet<AlloyId> = moves.iter().map(|(alloy, _)| *alloy).collect();
    for alloy in alloys {
        lock(conn, alloy).await?;
    }
    let batch = MetalBatchId::new();
    sqlx::query(
        "INSERT INTO metal_batches (id, kind, at, person_id, subject, lot_id, note) VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(batch)
    .bind(entry.kind.word())
    .bind(entry.at)
    .bind(entry.person)
    .bind(entry.subject)
    .bind(entry.lot)
    .bind(entry.note)
    .execute(&mut *conn)
    .await?;
    for (alloy, each) in moves.iter().filter(|(_, each)| each.cg > 0) {
        let to = account(conn, each.to, *alloy).await?;
        add(conn, batch, to, each.cg).await?;
        let from = account(conn, each.from, *alloy).await?;
        let left = add(conn, batch, from, -each.cg).await?;
        if left < 0 && !each.from.may_go_below_nothing() {
            let alloy: String = sqlx::query_scalar("SELECT name FROM alloys WHERE id = $1")
                .bind(alloy)
                .fetch_one(&mut *conn)
                .await?;
            let refusal = MetalRefusal::NotEnough {
                alloy,
                account: each.from.place(),
                have: in_grams(left + each.cg),
                wanted: in_grams(each.cg),
            };
            return Err(Refused::from(refusal).into());
        }
    }
    Ok(batch)
}

/// Takes a batch back by its opposite; the batch itself stays.
pub async fn reverse(
    conn: &mut PgConnection,
    batch: MetalBatchId,
    at: Moment,
    person: Option<PersonId>,
    note: &str,
) -> Result<MetalBatchId, Fault> {
    let kind: String = sqlx::query_scalar("SELECT kind FROM metal_batches WHERE id = $1")
        .bind(batch)
        .fetch_one(&mut *conn)
        .await?;
    if kind == "reversed" {
        return Err(Refused::conflict(
            "This entry takes back another one and stays. Enter anew what really happened.",
        )
        .into());
    }
    let alloys: Vec<AlloyId> = sqlx::query_scalar(
        "SELECT DISTINCT a.alloy_id FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
         WHERE p.batch_id = $1 ORDER BY a.alloy_id",
    )
    .bind(batch)
    .fetch_all(&mut *conn)
    .await?;
    for alloy in alloys {
        lock(conn, alloy).await?;
    }
    let id = MetalBatchId::new();
    sqlx::query(
        "INSERT INTO metal_batches (id, kind, at, person_id, subject, reverses, note)
         SELECT $1, 'reversed', $2, $3, subject, id, $5 FROM metal_batches WHERE id = $4",
    )
    .bind(id)
    .bind(at)
    .bind(person)
    .bind(batch)
    .bind(note)
    .execute(&mut *conn)
    .await?;
    sqlx::query(
        "INSERT INTO metal_postings (batch_id, account_id, cg)
         SELECT $1, account_id, -cg FROM metal_postings WHERE batch_id = $2 ORDER BY id",
    )
    .bind(id)
    .bind(batch)
    .execute(&mut *conn)
    .await?;
    let short: Option<(String, String, i64)> = sqlx::query_as(
        "SELECT l.name, a.kind, b.cg FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
         JOIN metal_balances b ON b.account_id = a.id JOIN alloys l ON l.id = a.alloy_id
         WHERE p.batch_id = $1 AND b.cg < 0 AND a.kind IN ('fresh', 'returns', 'cast', 'pieces', 'filings', 'own') LIMIT 1",
    )
    .bind(id)
    .fetch_optional(&mut *conn)
    .await?;
    if let Some((alloy, account, cg)) = short {
        return Err(Refused::conflict(format!(
            "Taking this back would leave {} g of {alloy} in {account}: the metal has moved on since. Reverse the later entries first.",
            in_grams(cg)
        ))
        .into());
    }
    Ok(id)
}

/// The last entry of a kind about a subject that was not taken back.
pub async fn standing_entry(
    conn: &mut PgConnection,
    subject: &str,
    kind: Kind,
) -> Result<Option<MetalBatchId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT id FROM metal_standing WHERE subject = $1 AND kind = $2 ORDER BY at DESC, id DESC LIMIT 1",
    )
    .bind(subject)
    .bind(kind.word())
    .fetch_optional(conn)
    .await
}

/// The account of an alloy, made when it is first used.
async fn account(
    conn: &mut PgConnection,
    which: Account,
    alloy: AlloyId,
) -> Result<MetalAccountId, sqlx::Error> {
    const FIND: &str = "SELECT id FROM metal_accounts WHERE kind = $1 AND alloy_id = $2 AND client_id IS NOT DISTINCT FROM $3";
    let found = sqlx::query_scalar(FIND)
        .bind(which.kind())
        .bind(alloy)
        .bind(which.client())
        .fetch_optional(&mut *conn)
        .await?;
    if let Some(id) = found {
        return Ok(id);
    }
    sqlx::query("INSERT INTO metal_accounts (id, kind, alloy_id, client_id) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING")
        .bind(MetalAccountId::new())
        .bind(which.kind())
        .bind(alloy)
        .bind(which.client())
        .execute(&mut *conn)
        .await?;
    sqlx::query_scalar(FIND)
        .bind(which.kind())
        .bind(alloy)
        .bind(which.client())
        .fetch_one(conn)
        .await
}

/// Adds a posting and returns what the account holds then. The balance's row
/// is held until the commit, so two who take the last grams take turns.
async fn add(
    conn: &mut PgConnection,
    batch: MetalBatchId,
    account: MetalAccountId,
    cg: i64,
) -> Result<i64, sqlx::Error> {
    sqlx::query("INSERT INTO metal_postings (batch_id, account_id, cg) VALUES ($1, $2, $3)")
        .bind(batch)
        .bind(account)
        .bind(cg)
        .execute(&mut *conn)
        .await?;
    sqlx::query_scalar("SELECT cg FROM metal_balances WHERE account_id = $1")
        .bind(account)
        .fetch_one(conn)
        .await
}

/// What an account of an alloy holds, in centigrams; nothing when it was never used.
pub async fn held(
    db: impl PgExecutor<'_>,
    alloy: AlloyId,
    account: Account,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT coalesce(sum(b.cg), 0)::bigint FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id
         WHERE a.alloy_id = $1 AND a.kind = $2 AND a.client_id IS NOT DISTINCT FROM $3",
    )
    .bind(alloy)
    .bind(account.kind())
    .bind(account.client())
    .fetch_one(db)
    .await
}

/// What an alloy's stock holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromRow)]
pub struct Stock {
    /// New metal, in centigrams.
    pub fresh_cg: i64,
    /// Returns, in centigrams.
    pub returns_cg: i64,
}

/// What there is of an alloy to melt.
pub async fn balances(db: impl PgExecutor<'_>, alloy: AlloyId) -> Result<Stock, sqlx::Error> {
    sqlx::query_as(
        "SELECT coalesce(sum(b.cg) FILTER (WHERE a.kind = 'fresh'), 0)::bigint AS fresh_cg,
                coalesce(sum(b.cg) FILTER (WHERE a.kind = 'returns'), 0)::bigint AS returns_cg
         FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id WHERE a.alloy_id = $1",
    )
    .bind(alloy)
    .fetch_one(db)
    .await
}
