//! The day's prices: for each thing the newest that is not after the day.

use std::collections::HashMap;

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};

use super::model::PriceKind;
use crate::clock::Day;
use crate::id::AlloyId;

/// The price of one thing on a day, by its own unit; none when none was noted until then.
pub async fn find(
    conn: &mut PgConnection,
    kind: PriceKind,
    item: &str,
    day: Day,
) -> Result<Option<Decimal>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT amount FROM prices WHERE kind = $1 AND item = $2 AND valid_from <= $3
         ORDER BY valid_from DESC LIMIT 1",
    )
    .bind(kind.word())
    .bind(item)
    .bind(day)
    .fetch_optional(conn)
    .await
}

/// A rate of exchange out of the price book.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromRow)]
pub struct Rate {
    /// How much of the other currency one unit of the studio's buys.
    #[sqlx(rename = "amount")]
    pub rate: Decimal,
    /// From which day it holds.
    #[sqlx(rename = "valid_from")]
    pub on: Day,
}

/// The rate between the studio's currency and another that holds on a day; none when none was
/// noted until then.
pub async fn rate(
    db: impl PgExecutor<'_>,
    own: &str,
    other: &str,
    day: Day,
) -> Result<Option<Rate>, sqlx::Error> {
    sqlx::query_as(
        "SELECT amount, valid_from FROM prices
         WHERE kind = 'exchange' AND item = $1 AND currency = $2 AND valid_from <= $3
         ORDER BY valid_from DESC LIMIT 1",
    )
    .bind(other)
    .bind(own)
    .bind(day)
    .fetch_optional(db)
    .await
}

#[derive(Clone, Debug, FromRow)]
struct PriceRow {
    kind: String,
    item: String,
    unit: String,
    amount: Decimal,
    currency: String,
    valid_from: Day,
}

/// A price for one unit, and where it comes from.
#[derive(Clone, Debug)]
pub struct DayPrice {
    /// The amount, in the studio's currency.
    pub amount: Decimal,
    /// Where it comes from.
    pub source: Source,
    /// How it was reached, when it was computed.
    pub working: Working,
}

/// All prices that hold on a day.
#[derive(Clone, Debug, Default)]
pub struct DayPrices {
    rows: HashMap<(String, String), PriceRow>,
    parts: HashMap<AlloyId, Vec<(String, Decimal)>>,
    currency: String,
}

impl DayPrices {
    /// Reads the prices of a day, and what these alloys are made of.
    pub async fn load(
        pool: &PgPool,
        day: Day,
        currency: &str,
        alloys: &[AlloyId],
    ) -> Result<Self, sqlx::Error> {
        let rows = sqlx::query_as(
            "SELECT DISTINCT ON (kind, item) kind, item, unit, amount, currency::text AS currency, valid_from
             FROM prices WHERE valid_from <= $1 ORDER BY kind, item, valid_from DESC",
        )
        .bind(day)
        .fetch_all(pool);
        let parts = sqlx::query_as(
            "SELECT alloy_id, metal, parts_per_thousand FROM alloy_parts WHERE alloy_id = ANY($1)
             ORDER BY parts_per_thousand DESC, metal",
        )
        .bind(alloys)
        .fetch_all(pool);
        let (rows, parts): (Vec<PriceRow>, Vec<(AlloyId, String, Decimal)>) =
            tokio::try_join!(rows, parts)?;
        let mut by_alloy: HashMap<AlloyId, Vec<(String, Decimal)>> = HashMap::new();
        for (alloy, metal, share) in parts {
            by_alloy.entry(alloy).or_default().push((metal, share));
        }
        let keyed = |row: PriceRow| ((row.kind.clone(), row.item.clone()), row);
        Ok(Self {
            rows: rows.into_iter().map(keyed).collect(),
            parts: by_alloy,
            currency: currency.to_owned(),
        })
    }

    /// The price of something; the error says what is missing, without a full stop.
    pub fn of(&self, kind: PriceKind, item: &str, what: &str) -> Result<DayPrice, String> {
        let row = self
            .rows
            .get(&(kind.word().to_owned(), item.to_owned()))
            .ok_or_else(|| format!("{what} has no price for today"))?;
        if row.currency != self.currency {
            return Err(format!(
                "the price of {what} is in {}, but the studio reckons in {}",
                row.currency, self.currency
            ));
        }
        if row.unit != kind.unit() {
            return Err(format!(
                "the price of {what} is for a {}, not for a {}",
                row.unit,
                kind.unit()
            ));
        }
        let source = Source::Assumed(format!("price noted for {}", row.valid_from).into());
        Ok(DayPrice { amount: row.amount, source, working: Working::default() })
    }

    /// The price of a gram of an alloy: its own, or that of the fine metals in it.
    pub fn alloy(&self, alloy: AlloyId, name: &str) -> Result<DayPrice, String> {
        let own = self.of(PriceKind::Alloy, &alloy.to_string(), name);
        let parts = self.parts.get(&alloy).map(Vec::as_slice).unwrap_or_default();
        if self.has_own(alloy) || parts.is_empty() {
            return own;
        }
        let per_gram = format!("{}/g", self.currency);
        let mut amount = Decimal::ZERO;
        let (mut each, mut inputs, mut missing) = (Vec::new(), Vec::new(), Vec::new());
        for (metal, per_mille) in parts {
            match self.of(PriceKind::FineMetal, metal, metal) {
                Ok(price) => {
                    let share = per_mille * Decimal::new(1, 3);
                    amount = share
                        .checked_mul(price.amount)
                        .and_then(|part| amount.checked_add(part))
                        .ok_or_else(|| format!("the price of {metal} is too large"))?;
                    each.push(format!(
                        "{metal} {} × {}",
                        share.normalize(),
                        price.amount.normalize()
                    ));
                    inputs.push(Figure::exact(
                        format!("share of {metal}"),
                        share,
                        "",
                        Source::Entered,
                    ));
                    inputs.push(Figure::exact(
                        format!("price of {metal}"),
                        price.amount,
                        per_gram.clone(),
                        price.source,
                    ));
                }
                Err(_) => missing.push(metal.as_str()),
            }
        }
        if !missing.is_empty() {
            return Err(format!(
                "{name} has no price for today, and neither has {} of which it is made",
                missing.join(", ")
            ));
        }
        let mut working = Working::default();
        let premium = self.of(PriceKind::Premium, &alloy.to_string(), name).ok();
        let what = if premium.is_some() { "metals of" } else { "price of" };
        let result =
            Figure::exact(format!("{what} {name}"), amount, per_gram.clone(), Source::Computed);
        let metals = result.clone();
        working.step("sum of share × price", inputs, result);
        if let Some(premium) = premium {
            let with = amount
                .checked_add(premium.amount)
                .ok_or_else(|| format!("the price of {name} is too large"))?;
            each.push(format!("premium {}", premium.amount.normalize()));
            let added = Figure::exact("premium", premium.amount, per_gram.clone(), premium.source);
            let result =
                Figure::exact(format!("price of {name}"), with, per_gram, Source::Computed);
            working.step("metals + premium", vec![metals, added], result);
            amount = with;
        }
        let source = Source::Assumed(format!("from the fine metals: {}", each.join(" + ")).into());
        Ok(DayPrice { amount, source, working })
    }

    /// Whether an alloy has a price of its own, which comes before that of its metals.
    #[must_use]
    pub fn has_own(&self, alloy: AlloyId) -> bool {
        self.rows.contains_key(&(PriceKind::Alloy.word().to_owned(), alloy.to_string()))
    }
}
