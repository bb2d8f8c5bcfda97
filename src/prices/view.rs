//! What pages read about prices.

use foundry::metal::Element;
use foundry::quantity::Currency;
use rust_decimal::Decimal;
use sqlx::{FromRow, PgPool};

use super::day::{DayPrice, DayPrices};
use super::model::PriceKind;
use super::paths::Price;
use crate::clock::{Day, Moment};
use crate::web::{Fault, Html, Order, Paged, Show, Term, Turned};

#[derive(Clone, Debug, FromRow)]
struct ItemRow {
    kind: String,
    item: String,
    name: String,
    valid_from: Option<Day>,
    later: Option<Day>,
}

/// One thing that is priced, and what it costs today.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) kind: PriceKind,
    pub(super) item: String,
    pub(super) name: String,
    /// From when the price noted for itself holds.
    pub(super) valid_from: Option<Day>,
    /// When the next one noted ahead begins.
    pub(super) later: Option<Day>,
    pub(super) price: Result<DayPrice, String>,
}

impl Item {
    /// The item as a form's choice names it.
    pub(super) fn choice(&self) -> String {
        format!("{}:{}", self.kind.word(), self.item)
    }

    pub(super) fn place(&self) -> String {
        Price(self.kind, &self.item).to_string()
    }

    /// Its price as it is shown.
    pub(super) fn figure(&self, show: &Show) -> Html {
        match &self.price {
            Ok(price) => figure(show, self.kind, &self.item, &price.amount),
            Err(_) => Html::default(),
        }
    }

    /// Whether its price follows from its metals.
    pub(super) fn computed(&self) -> Option<&DayPrice> {
        self.price.as_ref().ok().filter(|price| !price.working.steps.is_empty())
    }
}

/// A price as it is shown: by its unit, or as what one unit of the studio's currency buys.
pub(super) fn figure(show: &Show, kind: PriceKind, item: &str, amount: &Decimal) -> Html {
    match kind {
        PriceKind::Exchange => rate_figure(show, &show.units.currency, item, amount),
        kind => show.price(amount, kind.unit()),
    }
}

/// A rate of exchange as it is shown.
pub(super) fn rate_figure(show: &Show, own: &str, other: &str, rate: &Decimal) -> Html {
    Html::trusted(format!("1\u{a0}{} = {}", Html::escaped(own), show.money_exact(rate, other)))
}

/// Everything in use that has a price or needs one, by kind and name.
pub(super) async fn items(pool: &PgPool, day: Day, currency: &str) -> Result<Vec<Item>, Fault> {
    let rows: Vec<ItemRow> = sqlx::query_as(
        "SELECT i.kind, i.item, i.name,
                (SELECT max(p.valid_from) FROM prices p
                  WHERE p.kind = i.kind AND p.item = i.item AND p.valid_from <= $1) AS valid_from,
                (SELECT min(p.valid_from) FROM prices p
                  WHERE p.kind = i.kind AND p.item = i.item AND p.valid_from > $1) AS later
         FROM (
           SELECT DISTINCT 1 AS n, 'fine_metal' AS kind, p.metal AS item, p.metal AS name
             FROM alloy_parts p JOIN alloys a ON a.id = p.alloy_id WHERE a.retired_at IS NULL
           UNION ALL SELECT 2, 'alloy', id::text, name FROM alloys WHERE retired_at IS NULL
           UNION ALL SELECT 3, 'resin', id::text, name FROM resins WHERE retired_at IS NULL
           UNION ALL SELECT 4, 'investment', id::text, name FROM investments WHERE retired_at IS NULL
           UNION ALL SELECT 5, 'electricity', '', 'Electricity'
           UNION ALL SELECT 6, 'gas', '', 'Gas'
           UNION ALL SELECT 7, 'premium', a.id::text, 'Premium of ' || a.name FROM alloys a WHERE a.retired_at IS NULL
             AND EXISTS (SELECT 1 FROM alloy_parts p WHERE p.alloy_id = a.id)) i
         ORDER BY i.n, lower(i.name)",
    )
    .bind(day)
    .fetch_all(pool)
    .await?;
    let alloys: Vec<_> = rows
        .iter()
        .filter(|row| row.kind == PriceKind::Alloy.word())
        .filter_map(|row| row.item.parse().ok())
        .collect();
    let prices = DayPrices::load(pool, day, currency, &alloys).await?;
    let mut items = Vec::new();
    for row in rows {
        let Ok(kind) = row.kind.parse() else { continue };
        let name = named(kind, &row.name);
        let price = match (kind, row.item.parse()) {
            (PriceKind::Alloy, Ok(alloy)) => prices.alloy(alloy, &name),
            _ => prices.of(kind, &row.item, &name),
        };
        let (valid_from, later) = (row.valid_from, row.later);
        items.push(Item { kind, item: row.item, name, valid_from, later, price });
    }
    items.extend(currencies(pool, day, currency, &prices).await?);
    Ok(items)
}

/// Every other currency, with its rate where one is noted.
async fn currencies(
    pool: &PgPool,
    day: Day,
    own: &str,
    prices: &DayPrices,
) -> Result<Vec<Item>, Fault> {
    let days: Vec<(String, Option<Day>, Option<Day>)> = sqlx::query_as(
        "SELECT item, max(valid_from) FILTER (WHERE valid_from <= $1), min(valid_from) FILTER (WHERE valid_from > $1)
         FROM prices WHERE kind = 'exchange' GROUP BY item",
    )
    .bind(day)
    .fetch_all(pool)
    .await?;
    let others = Currency::all().into_iter().filter(|currency| currency.code() != own);
    Ok(others
        .map(|currency| {
            let code = currency.code().to_owned();
            let noted = days.iter().find(|(item, ..)| *item == code);
            let (valid_from, later) =
                noted.map_or((None, None), |(_, from, later)| (*from, *later));
            let price = prices.of(PriceKind::Exchange, &code, &code);
            Item {
                kind: PriceKind::Exchange,
                name: code.clone(),
                item: code,
                valid_from,
                later,
                price,
            }
        })
        .collect())
}

/// A fine metal is called by its name, with its symbol.
fn named(kind: PriceKind, name: &str) -> String {
    match (kind, Element::by_symbol(name)) {
        (PriceKind::FineMetal, Some(element)) => {
            let word = element.name();
            let mut letters = word.chars();
            let first = letters.next().map(|letter| letter.to_uppercase().to_string());
            format!("{}{} ({name})", first.unwrap_or_default(), letters.as_str())
        }
        _ => name.to_owned(),
    }
}

/// A price as it was noted.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Noted {
    pub(super) amount: Decimal,
    pub(super) unit: String,
    pub(super) currency: String,
    pub(super) valid_from: Day,
    pub(super) noted_by: Option<String>,
    pub(super) noted_at: Moment,
    pub(super) before: Option<Decimal>,
}

/// What a thing is called and all its prices, newest first.
pub(super) async fn history(
    pool: &PgPool,
    kind: PriceKind,
    item: &str,
    turned: &Turned,
    size: u32,
) -> Result<(String, Paged<Noted>), Fault> {
    const BY_DAY: Order =
        Order { terms: &[Term::number("p.valid_from - date '2000-01-01'")], falling: true };
    let name: Option<String> = match kind {
        PriceKind::Electricity => item.is_empty().then(|| "Electricity".to_owned()),
        PriceKind::Gas => item.is_empty().then(|| "Gas".to_owned()),
        PriceKind::Exchange => Currency::by_code(item).ok().map(|known| known.code().to_owned()),
        PriceKind::Premium => {
            sqlx::query_scalar("SELECT 'Premium of ' || name FROM alloys WHERE id::text = $1")
                .bind(item)
                .fetch_optional(pool)
                .await?
        }
        PriceKind::FineMetal => {
            sqlx::query_scalar("SELECT metal FROM alloy_parts WHERE metal = $1 LIMIT 1")
                .bind(item)
                .fetch_optional(pool)
                .await?
        }
        PriceKind::Alloy => {
            sqlx::query_scalar("SELECT name FROM alloys WHERE id::text = $1")
                .bind(item)
                .fetch_optional(pool)
                .await?
        }
        PriceKind::Resin => {
            sqlx::query_scalar("SELECT name FROM resins WHERE id::text = $1")
                .bind(item)
                .fetch_optional(pool)
                .await?
        }
        PriceKind::Investment => {
            sqlx::query_scalar("SELECT name FROM investments WHERE id::text = $1")
                .bind(item)
                .fetch_optional(pool)
                .await?
        }
    };
    let name = named(kind, &name.ok_or(Fault::NotFound)?);
    let rows = sqlx::query_scalar("SELECT count(*) FROM prices WHERE kind = $1 AND item = $2")
        .bind(kind.word())
        .bind(item)
        .fetch_one(pool)
        .await?;
    let seek = turned.in_order(&BY_DAY, size);
    let sql = format!(
        "SELECT {}, p.amount, p.unit, p.currency::text AS currency, p.valid_from, n.name AS noted_by, p.noted_at,
                (SELECT (a.detail ->> 'before')::numeric FROM audit a
                  WHERE a.subject = 'price:' || p.id AND a.action = 'corrected' ORDER BY a.id DESC LIMIT 1) AS before
         FROM prices p LEFT JOIN people n ON n.id = p.noted_by
         WHERE p.kind = $1 AND p.item = $2 AND {}{}",
        seek.column(),
        seek.beyond("$3"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(kind.word())
        .bind(item)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    Ok((name, seek.page(found, rows)))
}
