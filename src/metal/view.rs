//! What pages read about metal.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sqlx::{FromRow, PgPool};

use super::model::Account;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, MetalBatchId, MetalLotId};
use crate::timers::subject_path;
use crate::web::{Order, Paged, Term, Turned};

/// What there is of an alloy, in centigrams.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Held {
    pub(super) id: AlloyId,
    pub(super) name: String,
    pub(super) fresh: i64,
    pub(super) returns: i64,
    pub(super) cast: i64,
    pub(super) pieces: i64,
    pub(super) filings: i64,
    pub(super) own: i64,
    pub(super) supplier: i64,
    pub(super) client: i64,
    pub(super) delivered: i64,
    pub(super) refiner: i64,
    pub(super) settled: i64,
    pub(super) melted: i64,
    pub(super) loss: i64,
    pub(super) difference: i64,
    #[sqlx(skip)]
    pub(super) parts: Vec<(String, Decimal)>,
}

impl Held {
    /// Everything in the house.
    pub(super) fn here(&self) -> i64 {
        self.fresh + self.returns + self.cast + self.pieces + self.filings + self.own
    }

    /// What came in from outside.
    pub(super) fn came(&self) -> i64 {
        -self.supplier
    }

    /// What clients brought and did not get back.
    pub(super) fn brought(&self) -> i64 {
        -self.client
    }

    /// The fine metals in the house, in centigrams, by composition.
    pub(super) fn fine(&self) -> Vec<(String, f64)> {
        self.parts
            .iter()
            .map(|(metal, per_mille)| {
                let share = per_mille.to_f64().unwrap_or_default() / 1000.0;
                (metal.clone(), self.here() as f64 / 100.0 * share)
            })
            .collect()
    }
}

/// Fine metal over all alloys, in grams, the most first.
pub(super) fn fine_in_all(all: &[Held]) -> Vec<(String, f64)> {
    let mut sums: BTreeMap<String, f64> = BTreeMap::new();
    for (metal, grams) in all.iter().flat_map(Held::fine) {
        *sums.entry(metal).or_default() += grams;
    }
    let mut sums: Vec<_> = sums.into_iter().filter(|(_, grams)| *grams > 0.0).collect();
    sums.sort_by(|one, other| other.1.total_cmp(&one.1));
    sums
}

/// Each alloy that is in use or was ever posted to, as it stood before a moment: the months
/// before it, the days of its month, and the entries of its own day, looked up one by one
/// (`OFFSET 0` sees to it), for reading through all postings takes many times as long.
pub(super) async fn held(
    pool: &PgPool,
    before: Option<Moment>,
    only: Option<AlloyId>,
) -> Result<Vec<Held>, sqlx::Error> {
    let mut all: Vec<Held> = sqlx::query_as(
        "WITH stood AS (
           SELECT a.alloy_id, a.kind, sum(b.cg)::bigint AS cg
             FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id
            WHERE $1::timestamptz IS NULL GROUP BY a.alloy_id, a.kind
           UNION ALL
           SELECT a.alloy_id, a.kind, sum(m.cg)::bigint
             FROM metal_accounts a JOIN metal_months m ON m.account_id = a.id
            WHERE m.month < date_trunc('month', $1 AT TIME ZONE 'UTC')::date GROUP BY a.alloy_id, a.kind
           UNION ALL
           SELECT a.alloy_id, a.kind, sum(d.cg)::bigint
             FROM metal_days d JOIN metal_accounts a ON a.id = d.account_id
            WHERE d.day >= date_trunc('month', $1 AT TIME ZONE 'UTC')::date AND d.day < ($1 AT TIME ZONE 'UTC')::date
            GROUP BY a.alloy_id, a.kind
           UNION ALL
           SELECT a.alloy_id, a.kind, sum(p.cg)::bigint
             FROM metal_batches m
             CROSS JOIN LATERAL (SELECT account_id, cg FROM metal_postings WHERE batch_id = m.id OFFSET 0) p
             JOIN metal_accounts a ON a.id = p.account_id
            WHERE m.at >= date_trunc('day', $1 AT TIME ZONE 'UTC') AT TIME ZONE 'UTC' AND m.at < $1
            GROUP BY a.alloy_id, a.kind)
         SELECT l.id, l.name,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'fresh'), 0)::bigint AS fresh,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'returns'), 0)::bigint AS returns,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'cast'), 0)::bigint AS \"cast\",
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'pieces'), 0)::bigint AS pieces,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'filings'), 0)::bigint AS filings,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'own'), 0)::bigint AS own,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'settled'), 0)::bigint AS settled,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'melted'), 0)::bigint AS melted,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'supplier'), 0)::bigint AS supplier,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'client'), 0)::bigint AS client,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'delivered'), 0)::bigint AS delivered,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'refiner'), 0)::bigint AS refiner,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'loss'), 0)::bigint AS loss,
                coalesce(sum(s.cg) FILTER (WHERE s.kind = 'difference'), 0)::bigint AS difference
         FROM alloys l LEFT JOIN stood s ON s.alloy_id = l.id
         WHERE ($2::uuid IS NULL OR l.id = $2)
         GROUP BY l.id HAVING $2::uuid IS NOT NULL OR l.retired_at IS NULL OR count(s.kind) > 0
         ORDER BY lower(l.name), l.id",
    )
    .bind(before)
    .bind(only)
    .fetch_all(pool)
    .await?;
    let parts: Vec<(AlloyId, String, Decimal)> = sqlx::query_as(
        "SELECT alloy_id, metal, parts_per_thousand FROM alloy_parts ORDER BY parts_per_thousand DESC, metal",
    )
    .fetch_all(pool)
    .await?;
    for alloy in &mut all {
        alloy.parts = parts
            .iter()
            .filter(|(of, ..)| *of == alloy.id)
            .map(|(_, metal, per_mille)| (metal.clone(), *per_mille))
            .collect();
    }
    Ok(all)
}

/// Alloys to choose from in a form, by name.
pub(super) async fn choices(pool: &PgPool) -> Result<Vec<(AlloyId, String)>, sqlx::Error> {
    sqlx::query_as("SELECT id, name FROM alloys WHERE retired_at IS NULL ORDER BY lower(name), id")
        .fetch_all(pool)
        .await
}

/// The least share of fresh metal in a charge, and whether that is the alloy's own rule.
pub(super) async fn least_fresh(
    pool: &PgPool,
    alloy: AlloyId,
) -> Result<(Decimal, bool), sqlx::Error> {
    sqlx::query_as(
        "SELECT coalesce(l.least_fresh::numeric, s.least_fresh), l.least_fresh IS NOT NULL
         FROM studio s, alloys l WHERE l.id = $1",
    )
    .bind(alloy)
    .fetch_one(pool)
    .await
}

/// A bought lot.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Lot {
    pub(super) id: MetalLotId,
    pub(super) lot: String,
    pub(super) bought_cg: i64,
    pub(super) left_cg: i64,
    pub(super) bought_on: Day,
    pub(super) price_per_g: Option<Decimal>,
    pub(super) supplier: String,
}

/// The last lots of an alloy.
pub(super) async fn lots(pool: &PgPool, alloy: AlloyId) -> Result<Vec<Lot>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.id, l.lot, l.bought_cg, v.left_cg, l.bought_on, l.price_per_g, l.supplier
         FROM metal_lots l JOIN metal_lots_left v ON v.id = l.id WHERE l.alloy_id = $1
         ORDER BY l.bought_on DESC, l.id DESC LIMIT 50",
    )
    .bind(alloy)
    .fetch_all(pool)
    .await
}

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
}

const WANTED: &str = " WHERE ($1::uuid IS NULL OR m.subject = 'alloy:' || $1 OR EXISTS (
         SELECT 1 FROM metal_postings p JOIN metal_accounts a ON a.id = p.account_id
          WHERE p.batch_id = m.id AND a.alloy_id = $1))
       AND ($2::text IS NULL OR m.kind = $2)";

/// Entries with their postings, the latest first, and how many there are.
pub(super) async fn entries(
    pool: &PgPool,
    filter: &Filter,
    turned: &Turned,
    size: u32,
) -> Result<Paged<EntryRow>, sqlx::Error> {
    const ORDER: Order = Order { terms: &[Term::moment("m.at"), Term::id("m.id")], falling: true };
    let seek = turned.in_order(&ORDER, size);
    let count = format!("SELECT count(*) FROM metal_batches m{WANTED}");
    let rows = sqlx::query_scalar(sqlx::AssertSqlSafe(count))
        .bind(filter.alloy)
        .bind(&filter.kind)
        .fetch_one(pool)
        .await?;
    let head = ENTRY.replacen("SELECT ", &format!("SELECT {}, ", seek.column()), 1);
    let sql = format!("{head}{WANTED} AND {}{}", seek.beyond("$3"), seek.in_order());
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(filter.alloy)
        .bind(&filter.kind)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    let mut page = seek.page(found, rows);
    fill(pool, &mut page.rows).await?;
    Ok(page)
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

/// A part as a share of the whole; nothing of nothing.
pub(super) fn share(part: i64, whole: i64) -> Decimal {
    Decimal::from(part).checked_div(Decimal::from(whole)).unwrap_or_default()
}
