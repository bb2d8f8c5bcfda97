//! What pages read about quotes.

use rust_decimal::Decimal;
use sqlx::types::Json;
use sqlx::{FromRow, PgExecutor, PgPool};

use super::content::Content;
use super::link::LinkRow;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, ClientId, OrderId};
use crate::prices::DayPrices;

/// A quote with everything it says.
#[derive(Clone, Debug, FromRow)]
pub struct QuoteRow {
    /// Its number within the order.
    pub n: i32,
    /// `draft`, `sent`, `accepted`, `declined` or `replaced`.
    pub state: String,
    /// The last day on which a yes counts.
    pub valid_until: Day,
    /// When it is promised to be ready.
    pub ready_by: Option<Day>,
    /// What it says.
    pub content: Json<Content>,
    /// What the studio writes with it.
    pub message: String,
    /// When it was worked out.
    pub made_at: Moment,
    /// When it was sent.
    pub sent_at: Option<Moment>,
    /// When the client answered.
    pub answered_at: Option<Moment>,
    /// The name they typed.
    pub answered_name: Option<String>,
    /// Their words.
    pub answer: String,
    /// When the order changed after it was made.
    pub outdated_at: Option<Moment>,
}

const COLUMNS: &str =
    "SELECT n, state, valid_until, ready_by, content, message, made_at, sent_at, answered_at,
    answered_name, answer, outdated_at FROM quotes";

/// The quote a client sees: the accepted one, else the one that was sent, else the last they declined.
pub async fn standing(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<Option<QuoteRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{COLUMNS} WHERE order_id = $1 AND state IN ('accepted', 'sent', 'declined')
         ORDER BY (state = 'accepted') DESC, (state = 'sent') DESC, n DESC LIMIT 1"
    )))
    .bind(order)
    .fetch_optional(db)
    .await
}

pub(super) async fn quote(
    db: impl PgExecutor<'_>,
    order: OrderId,
    n: i32,
) -> Result<QuoteRow, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("{COLUMNS} WHERE order_id = $1 AND n = $2")))
        .bind(order)
        .bind(n)
        .fetch_one(db)
        .await
}

/// Where a client is written to; empty when that is not known.
pub(super) async fn email_of(
    db: impl PgExecutor<'_>,
    client: ClientId,
) -> Result<String, sqlx::Error> {
    sqlx::query_scalar("SELECT email FROM clients WHERE id = $1").bind(client).fetch_one(db).await
}

/// The version sent before this one, if there was any.
pub async fn sent_before(
    db: impl PgExecutor<'_>,
    order: OrderId,
    n: i32,
) -> Result<Option<QuoteRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{COLUMNS} WHERE order_id = $1 AND n < $2 AND sent_at IS NOT NULL ORDER BY n DESC LIMIT 1"
    )))
    .bind(order)
    .bind(n)
    .fetch_optional(db)
    .await
}

/// The version before this one.
pub(super) async fn before(
    db: impl PgExecutor<'_>,
    order: OrderId,
    n: i32,
) -> Result<Option<QuoteRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{COLUMNS} WHERE order_id = $1 AND n < $2 ORDER BY n DESC LIMIT 1"
    )))
    .bind(order)
    .bind(n)
    .fetch_optional(db)
    .await
}

/// A quote as it stands on a day: metal that moves is at the price of that day. `None` when a
/// price it moves with cannot be told.
pub async fn on_day(
    pool: &PgPool,
    content: &Content,
    day: Day,
    words: &str,
) -> Result<Option<Content>, sqlx::Error> {
    let alloys = content.moving_alloys();
    if alloys.is_empty() {
        return Ok(Some(content.clone()));
    }
    let ids: Vec<_> = alloys.iter().map(|(id, _)| *id).collect();
    // Prices are noted in the studio's currency; the rate stays that of the quote.
    let own = content.exchange.as_ref().map_or(&content.currency, |exchange| &exchange.from);
    let rate = content.exchange.as_ref().map_or(Decimal::ONE, |exchange| exchange.rate);
    let prices = DayPrices::load(pool, day, own, &ids).await?;
    let price_of = |id: AlloyId| {
        let name = alloys.iter().find(|(alloy, _)| *alloy == id).map(|(_, name)| name.as_str())?;
        prices.alloy(id, name).ok()?.amount.checked_mul(rate)
    };
    Ok(content.at_day(words, &price_of))
}

/// What lately became of attempts in these alloys: good and failed of the last two hundred.
pub(super) async fn yield_of(pool: &PgPool, alloys: &[AlloyId]) -> Result<(i64, i64), sqlx::Error> {
    sqlx::query_as(
        "SELECT count(*) FILTER (WHERE outcome = 'good'), count(*) FILTER (WHERE outcome = 'failed') FROM (
           SELECT t.outcome FROM attempts t JOIN pieces p ON p.id = t.piece_id JOIN order_lines l ON l.id = p.order_line_id
           WHERE t.outcome IN ('good', 'failed') AND l.alloy_id = ANY($1) ORDER BY t.ended_at DESC LIMIT 200) x",
    )
    .bind(alloys)
    .fetch_one(pool)
    .await
}

/// The newest quote of an order, whatever became of it.
pub(super) async fn newest(
    db: impl PgExecutor<'_>,
    order: OrderId,
) -> Result<Option<QuoteRow>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "{COLUMNS} WHERE order_id = $1 ORDER BY n DESC LIMIT 1"
    )))
    .bind(order)
    .fetch_optional(db)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) n: i32,
    pub(super) state: String,
    pub(super) total: Decimal,
    pub(super) currency: String,
    pub(super) valid_until: Day,
    pub(super) made_at: Moment,
    pub(super) sent_at: Option<Moment>,
    pub(super) answered_at: Option<Moment>,
    pub(super) answered_name: Option<String>,
    pub(super) answer: String,
    pub(super) outdated_at: Option<Moment>,
}

pub(super) async fn list(pool: &PgPool, order: OrderId) -> Result<Vec<ListRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT n, state, total, currency, valid_until, made_at, sent_at, answered_at, answered_name, answer, outdated_at
         FROM quotes WHERE order_id = $1 ORDER BY n DESC",
    )
    .bind(order)
    .fetch_all(pool)
    .await
}

/// The link that works.
pub(super) async fn link(
    pool: &PgPool,
    order: OrderId,
    now: Moment,
) -> Result<Option<LinkRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.id, l.order_id, o.number, l.made_at, l.expires_at, l.opened_at
         FROM client_links l JOIN orders o ON o.id = l.order_id
         WHERE l.order_id = $1 AND l.revoked_at IS NULL AND l.expires_at > $2",
    )
    .bind(order)
    .bind(now)
    .fetch_optional(pool)
    .await
}
