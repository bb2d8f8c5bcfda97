//! The day's prices: for each thing the newest that is not after the day.

use std::collections::HashMap;

use foundry::source::Source;
use rust_decimal::Decimal;
use sqlx::{FromRow, PgPool};

use crate::clock::Day;
use crate::id::AlloyId;

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
pub(super) struct DayPrice {
    pub(super) amount: Decimal,
    pub(super) source: Source,
}

/// All prices that hold on a day.
#[derive(Clone, Debug, Default)]
pub(super) struct DayPrices {
    rows: HashMap<(String, String), PriceRow>,
    parts: HashMap<AlloyId, Vec<(String, Decimal)>>,
    currency: String,
}

impl DayPrices {
    pub(super) async fn load(
        pool: &PgPool,
        day: Day,
        currency: &str,
        alloys: &[AlloyId],
    ) -> Result<Self, sqlx::Error> {
        let rows: Vec<PriceRow> = sqlx::query_as(
            "SELECT DISTINCT ON (kind, item) kind, item, unit, amount, currency, valid_from FROM prices
             WHERE valid_from <= $1 ORDER BY kind, item, valid_from DESC",
        )
        .bind(day)
        .fetch_all(pool)
        .await?;
        let parts: Vec<(AlloyId, String, Decimal)> = sqlx::query_as(
            "SELECT alloy_id, metal, parts_per_thousand FROM alloy_parts WHERE alloy_id = ANY($1)
             ORDER BY parts_per_thousand DESC, metal",
        )
        .bind(alloys)
        .fetch_all(pool)
        .await?;
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
    pub(super) fn of(
        &self,
        kind: &str,
        item: &str,
        unit: &str,
        what: &str,
    ) -> Result<DayPrice, String> {
        let row = self
            .rows
            .get(&(kind.to_owned(), item.to_owned()))
            .ok_or_else(|| format!("{what} has no price for today"))?;
        if row.currency != self.currency {
            return Err(format!(
                "the price of {what} is in {}, but the studio reckons in {}",
                row.currency, self.currency
            ));
        }
        if row.unit != unit {
            return Err(format!("the price of {what} is for a {}, not for a {unit}", row.unit));
        }
        let source = Source::Assumed(format!("price noted for {}", row.valid_from).into());
        Ok(DayPrice { amount: row.amount, source })
    }

    /// The price of a gram of an alloy: its own, or that of the fine metals in it.
    pub(super) fn alloy(&self, alloy: AlloyId, name: &str) -> Result<DayPrice, String> {
        let own = self.of("alloy", &alloy.to_string(), "g", name);
        if own.is_ok() || self.rows.contains_key(&("alloy".to_owned(), alloy.to_string())) {
            return own;
        }
        let parts = self.parts.get(&alloy).map(Vec::as_slice).unwrap_or_default();
        if parts.is_empty() {
            return own;
        }
        let mut amount = Decimal::ZERO;
        let mut each = Vec::new();
        let mut missing = Vec::new();
        for (metal, per_mille) in parts {
            match self.of("fine_metal", metal, "g", metal) {
                Ok(price) => {
                    let share = per_mille * Decimal::new(1, 3);
                    let part = share.checked_mul(price.amount);
                    amount = part
                        .and_then(|part| amount.checked_add(part))
                        .ok_or_else(|| format!("the price of {metal} is too large"))?;
                    each.push(format!(
                        "{metal} {} × {}",
                        share.normalize(),
                        price.amount.normalize()
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
        let source = Source::Assumed(format!("from the fine metals: {}", each.join(" + ")).into());
        Ok(DayPrice { amount, source })
    }
}
