//! All SQL that writes quotes and clients' links.

use sqlx::types::Json;
use sqlx::{FromRow, PgConnection};

use super::content::Content;
use crate::clock::{Day, Moment};
use crate::id::{LinkId, OrderId, PersonId, QuoteId};
use crate::orders;

/// Writes the draft of an order: a new version, or the draft there is.
pub(super) async fn write_draft(
    conn: &mut PgConnection,
    order: OrderId,
    content: &Content,
    valid_until: Day,
    person: PersonId,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    let totals = &content.totals;
    let kept: Option<i32> = sqlx::query_scalar(
        "UPDATE quotes SET currency = $2, net = $3, tax = $4, total = $5, deposit = $6, valid_until = $7, ready_by = $8,
             content = $9, message = $10, made_by = $11, made_at = $12, outdated_at = NULL
         WHERE order_id = $1 AND state = 'draft' RETURNING n",
    )
    .bind(order)
    .bind(&content.currency)
    .bind(totals.net)
    .bind(totals.tax)
    .bind(totals.gross)
    .bind(content.deposit)
    .bind(valid_until)
    .bind(content.inputs.ready_by)
    .bind(Json(content))
    .bind(&content.inputs.message)
    .bind(person)
    .bind(now)
    .fetch_optional(&mut *conn)
    .await?;
    if let Some(n) = kept {
        return Ok(n);
    }
    sqlx::query_scalar(
        "INSERT INTO quotes (id, order_id, n, currency, net, tax, total, deposit, valid_until, ready_by, content, message,
             made_by, made_at)
         SELECT $13, $1, coalesce(max(n), 0) + 1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12
         FROM quotes WHERE order_id = $1 RETURNING n",
    )
    .bind(order)
    .bind(&content.currency)
    .bind(totals.net)
    .bind(totals.tax)
    .bind(totals.gross)
    .bind(content.deposit)
    .bind(valid_until)
    .bind(content.inputs.ready_by)
    .bind(Json(content))
    .bind(&content.inputs.message)
    .bind(person)
    .bind(now)
    .bind(QuoteId::new())
    .fetch_one(conn)
    .await
}

/// The newest quote of an order with its currency.
pub(super) async fn last_currency(
    conn: &mut PgConnection,
    order: OrderId,
) -> Result<Option<(i32, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT n, currency::text FROM quotes WHERE order_id = $1 ORDER BY n DESC LIMIT 1",
    )
    .bind(order)
    .fetch_optional(conn)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct LockedQuote {
    pub(super) id: QuoteId,
    pub(super) state: String,
    pub(super) outdated_at: Option<Moment>,
    pub(super) valid_until: Day,
    pub(super) ready_by: Option<Day>,
    /// Whether a line of it has no price.
    pub(super) unpriced: bool,
}

pub(super) async fn lock_quote(
    conn: &mut PgConnection,
    order: OrderId,
    n: i32,
) -> Result<LockedQuote, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, state, outdated_at, valid_until, ready_by,
                coalesce(jsonb_array_length(content->'unpriced'), 0) > 0 AS unpriced
         FROM quotes WHERE order_id = $1 AND n = $2 FOR UPDATE",
    )
    .bind(order)
    .bind(n)
    .fetch_one(conn)
    .await
}

/// Sends a draft; the quote that was out before is replaced.
pub(super) async fn send(
    conn: &mut PgConnection,
    order: OrderId,
    quote: QuoteId,
    message: &str,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE quotes SET state = 'replaced' WHERE order_id = $1 AND state = 'sent'")
        .bind(order)
        .execute(&mut *conn)
        .await?;
    sqlx::query("UPDATE quotes SET state = 'sent', sent_at = $2, message = $3 WHERE id = $1")
        .bind(quote)
        .bind(now)
        .bind(message)
        .execute(conn)
        .await?;
    Ok(())
}

/// The owner chose the order's day before sending: the quote says that one.
pub(super) async fn move_ready(
    conn: &mut PgConnection,
    quote: QuoteId,
    day: Day,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE quotes SET ready_by = $2, content = jsonb_set(content, '{inputs,ready_by}', to_jsonb($3::text))
         WHERE id = $1",
    )
    .bind(quote)
    .bind(day)
    .bind(day.to_string())
    .execute(conn)
    .await?;
    Ok(())
}

/// Tells the client's open page that something changed.
pub(super) async fn announce(conn: &mut PgConnection, number: i32) -> Result<(), sqlx::Error> {
    sqlx::query("SELECT pg_notify('changed', 'orders:' || $1::text)")
        .bind(number)
        .execute(conn)
        .await?;
    Ok(())
}

/// Lengthens the link that works; says whether there is one.
pub(super) async fn lengthen_link(
    conn: &mut PgConnection,
    order: OrderId,
    now: Moment,
    until: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE client_links SET expires_at = greatest(expires_at, $3)
         WHERE order_id = $1 AND revoked_at IS NULL AND expires_at > $2",
    )
    .bind(order)
    .bind(now)
    .bind(until)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Ends the link of an order; says whether there was one.
pub(super) async fn revoke_link(
    conn: &mut PgConnection,
    order: OrderId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE client_links SET revoked_at = $2 WHERE order_id = $1 AND revoked_at IS NULL",
    )
    .bind(order)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() > 0)
}

pub(super) async fn insert_link(
    conn: &mut PgConnection,
    order: OrderId,
    person: PersonId,
    now: Moment,
    until: Moment,
) -> Result<LinkId, sqlx::Error> {
    let id = LinkId::new();
    sqlx::query(
        "INSERT INTO client_links (id, order_id, made_by, made_at, expires_at) VALUES ($1, $2, $3, $4, $5)",
    )
    .bind(id)
    .bind(order)
    .bind(person)
    .bind(now)
    .bind(until)
    .execute(conn)
    .await?;
    Ok(id)
}

/// The quote that is with the client, held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub struct SentQuote {
    /// Which.
    pub id: QuoteId,
    /// Its number within the order.
    pub n: i32,
    /// The last day on which a yes counts.
    pub valid_until: Day,
    /// When it is promised to be ready.
    pub ready_by: Option<Day>,
    /// When the order changed after it was made.
    pub outdated_at: Option<Moment>,
    /// What it says.
    pub content: Json<Content>,
}

/// Holds the quote that is with the client.
pub async fn lock_sent(
    conn: &mut PgConnection,
    order: OrderId,
) -> Result<Option<SentQuote>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, n, valid_until, ready_by, outdated_at, content FROM quotes
         WHERE order_id = $1 AND state = 'sent' FOR UPDATE",
    )
    .bind(order)
    .fetch_optional(conn)
    .await
}

/// What the client answered.
#[derive(Clone, Copy, Debug)]
pub struct Answered<'a> {
    /// The name they typed; may be empty when they declined.
    pub name: &'a str,
    /// In their own words.
    pub words: &'a str,
    /// When.
    pub at: Moment,
}

/// The client said yes: the quote is accepted as it stands now, with what they chose and the
/// metal at the day's price where that was agreed; a draft beside it is dropped.
pub async fn accept(
    conn: &mut PgConnection,
    order: OrderId,
    quote: &SentQuote,
    agreed: &Content,
    answered: Answered<'_>,
) -> Result<(), sqlx::Error> {
    if *agreed != quote.content.0 {
        sqlx::query(
            "UPDATE quotes SET net = $2, tax = $3, total = $4, deposit = $5, content = $6 WHERE id = $1",
        )
        .bind(quote.id)
        .bind(agreed.totals.net)
        .bind(agreed.totals.tax)
        .bind(agreed.totals.gross)
        .bind(agreed.deposit)
        .bind(Json(agreed))
        .execute(&mut *conn)
        .await?;
    }
    sqlx::query("UPDATE quotes SET state = 'replaced' WHERE order_id = $1 AND state = 'draft'")
        .bind(order)
        .execute(&mut *conn)
        .await?;
    // The day that was said yes to is the day of the order.
    if quote.ready_by.is_some() {
        orders::set_due(conn, order, quote.ready_by).await?;
    }
    answer(conn, quote.id, "accepted", answered).await
}

/// The client declined; the order is an enquiry again.
pub async fn decline(
    conn: &mut PgConnection,
    order: OrderId,
    quote: &SentQuote,
    answered: Answered<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE orders SET state = 'enquiry' WHERE id = $1 AND state = 'quoted'")
        .bind(order)
        .execute(&mut *conn)
        .await?;
    answer(conn, quote.id, "declined", answered).await
}

async fn answer(
    conn: &mut PgConnection,
    quote: QuoteId,
    state: &str,
    answered: Answered<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE quotes SET state = $2, answered_at = $3, answered_name = $4, answer = $5 WHERE id = $1",
    )
    .bind(quote)
    .bind(state)
    .bind(answered.at)
    .bind(answered.name)
    .bind(answered.words)
    .execute(conn)
    .await?;
    Ok(())
}

/// Notes when a link was first opened.
pub async fn note_opened(
    db: impl sqlx::PgExecutor<'_>,
    link: LinkId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE client_links SET opened_at = $2 WHERE id = $1 AND opened_at IS NULL")
        .bind(link)
        .bind(now)
        .execute(db)
        .await?;
    Ok(())
}
