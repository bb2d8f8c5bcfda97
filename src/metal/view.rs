//! What pages read about metal.

use std::collections::BTreeMap;

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sqlx::{FromRow, PgPool};

use super::model::Account;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, MetalLotId};

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

    /// The account of a kind.
    pub(super) fn of(&self, kind: &str) -> i64 {
        match kind {
            "fresh" => self.fresh,
            "returns" => self.returns,
            "cast" => self.cast,
            "pieces" => self.pieces,
            "filings" => self.filings,
            "own" => self.own,
            "supplier" => self.supplier,
            "client" => self.client,
            "delivered" => self.delivered,
            "refiner" => self.refiner,
            "settled" => self.settled,
            "melted" => self.melted,
            "loss" => self.loss,
            "difference" => self.difference,
            _ => 0,
        }
    }

    /// How everything in the house is summed.
    pub(super) fn here_working(&self) -> Working {
        let mut working = Working::default();
        let grams =
            |name, cg: i64| Figure::exact(name, Decimal::new(cg, 2), "g", Source::MeasuredHere);
        let parts = ["fresh", "returns", "cast", "pieces", "filings", "own"];
        let each = parts.map(|kind| grams(Account::words(kind), self.of(kind)));
        working.step(
            "sum of the accounts in the house",
            each.to_vec(),
            Figure::exact("together", Decimal::new(self.here(), 2), "g", Source::Computed),
        );
        working
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
