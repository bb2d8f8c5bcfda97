//! What pages read about clients.

use sqlx::{FromRow, PgPool};

use super::store::ClientRow;
use crate::clock::{Day, Moment};
use crate::id::ClientId;
use crate::web::{Order, Paged, Term, Turned};

#[derive(Clone, Debug, FromRow)]
pub(super) struct ListRow {
    pub(super) id: ClientId,
    pub(super) name: String,
    pub(super) email: String,
    pub(super) phone: String,
    pub(super) open_orders: i64,
    pub(super) last_order_at: Option<Moment>,
}

pub(super) async fn list(
    pool: &PgPool,
    search: &str,
    turned: &Turned,
    size: u32,
) -> Result<Paged<ListRow>, sqlx::Error> {
    const ORDER: Order =
        Order { terms: &[Term::words("lower(c.name)"), Term::id("c.id")], falling: false };
    let seek = turned.in_order(&ORDER, size);
    let rows = sqlx::query_scalar(
        "SELECT count(*) FROM clients WHERE archived_at IS NULL
         AND ($1 = '' OR strpos(lower(name || ' ' || email || ' ' || phone), lower($1)) > 0)",
    )
    .bind(search)
    .fetch_one(pool)
    .await?;
    let sql = format!(
        "SELECT {}, c.id, c.name, c.email, c.phone,
                count(o.id) FILTER (WHERE o.state IN ('enquiry', 'quoted', 'agreed', 'ready')) AS open_orders,
                max(o.created_at) AS last_order_at
         FROM clients c LEFT JOIN orders o ON o.client_id = c.id
         WHERE c.archived_at IS NULL
           AND ($1 = '' OR strpos(lower(c.name || ' ' || c.email || ' ' || c.phone), lower($1)) > 0) AND {}
         GROUP BY c.id{}",
        seek.column(),
        seek.beyond("$2"),
        seek.in_order()
    );
    let found = sqlx::query_as(sqlx::AssertSqlSafe(sql))
        .bind(search)
        .bind(seek.key())
        .fetch_all(pool)
        .await?;
    Ok(seek.page(found, rows))
}

pub(super) async fn load(pool: &PgPool, id: ClientId) -> Result<ClientRow, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, email, phone, address, note, class_id, archived_at, version FROM clients WHERE id = $1",
    )
    .bind(id)
    .fetch_one(pool)
    .await
}

#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderRow {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) state: String,
    pub(super) due_on: Option<Day>,
}

impl OrderRow {
    pub(super) fn state_words(&self) -> String {
        self.state.replace('_', " ")
    }
}

pub(super) async fn orders_of(pool: &PgPool, id: ClientId) -> Result<Vec<OrderRow>, sqlx::Error> {
    sqlx::query_as("SELECT number, title, state, due_on FROM orders WHERE client_id = $1 ORDER BY number DESC LIMIT 200")
        .bind(id)
        .fetch_all(pool)
        .await
}

/// Classes of clients to choose from, by name.
pub(super) async fn classes(pool: &PgPool) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id::text, name FROM client_classes WHERE retired_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(pool)
    .await
}

/// Clients to choose from in a form, by name.
pub async fn choices(pool: &PgPool) -> Result<Vec<(ClientId, String)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name FROM clients WHERE archived_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(pool)
    .await
}
