//! What pages read about letters, and what a new one is filled with.

use rust_decimal::Decimal;
use sqlx::{FromRow, PgExecutor, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{ClientId, InvoiceId, LinkId, MessageId, OrderId};
use crate::web::{Order, Paged, Term, Turned};

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) id: MessageId,
    pub(super) state: String,
    pub(super) recipient: String,
    pub(super) recipient_name: String,
    pub(super) subject: String,
    pub(super) created_at: Moment,
    pub(super) sent_at: Option<Moment>,
    pub(super) next_try_at: Option<Moment>,
    pub(super) trouble: String,
}

/// Which letters a list shows: those that wait for somebody come before all others.
pub(super) async fn list(
    pool: &PgPool,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const ORDER: Order = Order {
        terms: &[
            Term::number("array_position(ARRAY['sent', 'waiting', 'draft', 'given_up'], state)"),
            Term::moment("created_at"),
            Term::id("id"),
        ],
        falling: true,
    };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar("SELECT count(*) FROM outbox WHERE state <> 'thrown_away'")
        .fetch_one(pool)
        .await?;
    let sql = format!(
        "SELECT {}, id, state, recipient, recipient_name, subject, created_at, sent_at, next_try_at, trouble FROM outbox
         WHERE state <> 'thrown_away' AND {}{}",
        seek.column(),
        seek.beyond("$1"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(seek.key()).fetch_all(pool).await?;
    Ok(seek.page(found, rows))
}

/// Letters that could not be sent, or that a server keeps waiting.
pub(super) async fn troubled(pool: &PgPool) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(*) FROM outbox WHERE state = 'given_up' OR (state = 'waiting' AND trouble <> '')",
    )
    .fetch_one(pool)
    .await
}

/// What a letter about an order is filled with.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderRow {
    pub(super) id: OrderId,
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) client_id: ClientId,
    pub(super) client: String,
    pub(super) email: String,
    /// Of the quote that is with the client.
    pub(super) total: Option<Decimal>,
    pub(super) currency: Option<String>,
    pub(super) valid_until: Option<Day>,
    pub(super) link: Option<LinkId>,
}

pub(super) async fn order(
    db: impl PgExecutor<'_>,
    number: i32,
    now: Moment,
) -> Result<OrderRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, o.number, o.title, o.client_id, c.name AS client, c.email, q.total, q.currency, q.valid_until,
                l.id AS link
         FROM orders o JOIN clients c ON c.id = o.client_id
         LEFT JOIN quotes q ON q.order_id = o.id AND q.state = 'sent'
         LEFT JOIN client_links l ON l.order_id = o.id AND l.revoked_at IS NULL AND l.expires_at > $2
         WHERE o.number = $1",
    )
    .bind(number)
    .bind(now)
    .fetch_one(db)
    .await
}

/// What a letter about an invoice is filled with.
#[derive(Clone, Debug, FromRow)]
pub(super) struct InvoiceRow {
    pub(super) id: InvoiceId,
    pub(super) label: Option<String>,
    pub(super) order_id: Option<OrderId>,
    pub(super) client_id: ClientId,
    pub(super) client: String,
    pub(super) email: String,
    pub(super) currency: String,
    pub(super) total: Decimal,
    pub(super) open: Decimal,
    pub(super) due_on: Option<Day>,
}

pub(super) async fn invoice(
    db: impl PgExecutor<'_>,
    id: InvoiceId,
) -> Result<InvoiceRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT i.id, i.label, i.order_id, i.client_id, c.name AS client, c.email, i.currency, i.total,
                coalesce(b.amount - b.settled, 0) AS open, i.due_on
         FROM invoices i JOIN clients c ON c.id = i.client_id LEFT JOIN entry_balances b ON b.entry_id = i.id
         WHERE i.id = $1",
    )
    .bind(id)
    .fetch_one(db)
    .await
}
