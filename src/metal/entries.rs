//! What pages read of entries, and what an account stood at after each of them.

use sqlx::{FromRow, PgPool};

use super::model::Account;
use super::view::held;
use crate::clock::Moment;
use crate::id::{AlloyId, MetalBatchId};
use crate::timers::subject_path;
use crate::web::{Order, Paged, Term, Turned};

/// The head of an entry.
#[derive(Clone, Debug, FromRow)]
pub(super) struct EntryRow {
    pub(super) id: MetalBatchId,
    pub(super) kind: String,
    pub(super) at: Moment,
    pub(super) person: Option<String>,
    pub(super) subject: String,
    pub(super) note: String,
    pub(super) reverses: Option<MetalBatchId>,
    pub(super) reversed_by: Option<MetalBatchId>,
    pub(super) about: Option<String>,
    #[sqlx(skip)]
    pub(super) postings: Vec<Posting>,
    /// What an account that is followed changed by, and what it stood at afterwards.
    #[sqlx(skip)]
    pub(super) stood: Option<(i64, i64)>,
}

impl EntryRow {
    /// What it is about, in words.
    pub(super) fn subject_words(&self) -> String {
        match (self.subject.split_once(':'), &self.about) {
            (Some(("alloy" | "client", _)), Some(name)) => name.clone(),
            (Some((kind, rest)), _) => format!("{kind} {rest}"),
            (None, _) => self.subject.clone(),
        }
    }

    /// The page of what it is about.
    pub(super) fn subject_place(&self) -> Option<String> {
        match self.subject.split_once(':') {
            Some(("piece", label)) => Some(format!("/pieces/{label}")),
            Some(("alloy", id)) => Some(format!("/metal/alloys/{id}")),
            Some(("client", id)) => Some(format!("/metal/clients/{id}")),
            _ => subject_path(&self.subject),
        }
    }

    /// The entry that takes this one back.
    pub(super) fn reversal_place(&self) -> Option<String> {
        self.reversed_by.map(|id| super::EntryPage(id).to_string())
    }

    /// The entry that this one takes back.
    pub(super) fn reversed_place(&self) -> Option<String> {
        self.reverses.map(|id| super::EntryPage(id).to_string())
    }

    /// Whether it can be taken back.
    pub(super) fn stands(&self) -> bool {
        self.reverses.is_none() && self.reversed_by.is_none() && !self.postings.is_empty()
    }
}

/// One side of an entry.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Posting {
    batch_id: MetalBatchId,
    pub(super) account: String,
    pub(super) alloy_id: AlloyId,
    pub(super) alloy: String,
    pub(super) client: Option<String>,
    pub(super) cg: i64,
}

impl Posting {
    /// Whether metal arrives there.
    pub(super) const fn came(&self) -> bool {
        self.cg > 0
    }

    /// The account in words.
    pub(super) fn words(&self) -> String {
        match &self.client {
            Some(client) if self.account == "own" => format!("{client}, in the drawer"),
            Some(client) => client.clone(),
            None => Account::words(&self.account).to_owned(),
        }
    }
}

const ENTRY: &str = "SELECT m.id, m.kind, m.at, n.name AS person, m.subject, m.note, m.reverses,
        r.id AS reversed_by, coalesce(l.name, c.name) AS about
   FROM metal_batches m LEFT JOIN people n ON n.id = m.person_id
   LEFT JOIN metal_batches r ON r.reverses = m.id
   LEFT JOIN alloys l ON m.subject = 'alloy:' || l.id LEFT JOIN clients c ON m.subject = 'client:' || c.id";

/// Which entries are wanted.
#[derive(Clone, Debug, Default)]
pub(super) struct Filter {
    pub(super) alloy: Option<AlloyId>,
    pub(super) kind: Option<String>,
    /// Entries that moved an account of this kind.
    pub(super) account: Option<String>,
    /// Entries before this moment.
    pub(super) before: Option<Moment>,
}

impl Filter {
    pub(super) fn narrows(&self) -> bool {
        self.alloy.is_some()
            || self.kind.is_some()
            || self.account.is_some()
            || self.before.is_some()
    }

    /// The condition of a query: each kind of its own, so that the database can begin with the
    /// postings of an account, which are few beside all.
    fn wanted(&self) -> String {
        let of = match (&self.account, self.alloy) {
            (Some(_), _) => OF_ACCOUNT,
            (None, Some(_)) => OF_ALLOY,
            (None, None) => " WHERE true",
        };
        format!("{of}{WANTED}")
    }

    /// The account whose balance can be told after each entry: nothing that moved it is left out.
    fn followed(&self) -> Option<(AlloyId, &str)> {
        let account = self.account.as_deref().filter(|_| self.kind.is_none())?;
        Some((self.alloy?, account))
    }
}

/// Entries that moved an account of this kind, of one alloy or of any.
const OF_ACCOUNT: &str = " WHERE m.id IN (
         SELECT p.batch_id FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
          WHERE a.kind = $3 AND ($1::uuid IS NULL OR a.alloy_id = $1))";
/// Entries that moved an alloy or are about it.
const OF_ALLOY: &str = " WHERE m.id IN (
         SELECT p.batch_id FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
          WHERE a.alloy_id = $1
         UNION ALL SELECT id FROM metal_batches WHERE subject = 'alloy:' || $1)";
const WANTED: &str =
    " AND ($2::text IS NULL OR m.kind = $2) AND ($4::timestamptz IS NULL OR m.at < $4)";

/// Entries with their postings, the latest first, and how many there are.
pub(super) async fn entries(
    pool: &PgPool,
    filter: &Filter,
    turned: &Turned,
    size: u32,
) -> Result<Paged<EntryRow>, sqlx::Error> {
    const ORDER: Order = Order { terms: &[Term::moment("m.at"), Term::id("m.id")], falling: true };
    let seek = turned.in_order(&ORDER, size);
    let wanted = filter.wanted();
    let count = format!("SELECT count(*) FROM metal_batches m{wanted}");
    let rows = sqlx::query_scalar(sqlx::AssertSqlSafe(count))
        .bind(filter.alloy)
        .bind(&filter.kind)
        .bind(&filter.account)
        .bind(filter.before)
        .fetch_one(pool)
        .await?;
    let head = ENTRY.replacen("SELECT ", &format!("SELECT {}, ", seek.column()), 1);
    let sql = format!("{head}{wanted} AND {}{}", seek.beyond("$5"), seek.in_order());
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(filter.alloy)
        .bind(&filter.kind)
        .bind(&filter.account)
        .bind(filter.before)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    let mut page = seek.page(found, rows);
    fill(pool, &mut page.rows).await?;
    if let Some((alloy, account)) = filter.followed() {
        follow(pool, alloy, account, &mut page.rows).await?;
    }
    Ok(page)
}

/// Tells what an account stood at after each entry of a page, the latest first: from what it
/// stands at after the first, each takes off what it moved.
async fn follow(
    pool: &PgPool,
    alloy: AlloyId,
    account: &str,
    rows: &mut [EntryRow],
) -> Result<(), sqlx::Error> {
    let Some(first) = rows.first() else { return Ok(()) };
    let before = held(pool, Some(first.at), Some(alloy)).await?;
    let before: i64 = before.iter().map(|held| held.of(account)).sum();
    // Entries of the same moment go by their ids.
    let since: i64 = sqlx::query_scalar(
        "SELECT coalesce(sum(p.cg), 0)::bigint FROM metal_batches m JOIN metal_postings p ON p.batch_id = m.id
         JOIN metal_accounts a ON a.id = p.account_id
         WHERE m.at = $1 AND m.id <= $2 AND a.alloy_id = $3 AND a.kind = $4",
    )
    .bind(first.at)
    .bind(first.id)
    .bind(alloy)
    .bind(account)
    .fetch_one(pool)
    .await?;
    let mut stands = before + since;
    for row in rows {
        let its = |each: &&Posting| each.alloy_id == alloy && each.account == account;
        let moved = row.postings.iter().filter(its).map(|each| each.cg).sum();
        row.stood = Some((moved, stands));
        stands -= moved;
    }
    Ok(())
}

/// One entry with its postings.
pub(super) async fn entry(pool: &PgPool, id: MetalBatchId) -> Result<EntryRow, sqlx::Error> {
    let query = format!("{ENTRY} WHERE m.id = $1");
    let entry: EntryRow =
        sqlx::query_as(sqlx::AssertSqlSafe(query)).bind(id).fetch_one(pool).await?;
    let mut one = [entry];
    fill(pool, &mut one).await?;
    let [entry] = one;
    Ok(entry)
}

async fn fill(pool: &PgPool, entries: &mut [EntryRow]) -> Result<(), sqlx::Error> {
    let ids: Vec<_> = entries.iter().map(|entry| entry.id).collect();
    let postings: Vec<Posting> = sqlx::query_as(
        "SELECT p.batch_id, a.kind AS account, a.alloy_id, l.name AS alloy, c.name AS client, p.cg
         FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id JOIN alloys l ON l.id = a.alloy_id
         LEFT JOIN clients c ON c.id = a.client_id WHERE p.batch_id = ANY($1) ORDER BY p.cg, p.id",
    )
    .bind(ids)
    .fetch_all(pool)
    .await?;
    for entry in entries {
        entry.postings =
            postings.iter().filter(|each| each.batch_id == entry.id).cloned().collect();
    }
    Ok(())
}
