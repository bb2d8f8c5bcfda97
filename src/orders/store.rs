//! All SQL that writes orders.

use sqlx::{FromRow, PgConnection};

use super::forms::{LineForm, OrderForm};
use super::state::OrderState;
use crate::clock::{Day, Moment};
use crate::id::{AlloyId, ClientId, DesignVersionId, OrderId, PieceId};

/// An order held for the rest of the transaction.
#[derive(Clone, Copy, Debug, FromRow)]
pub struct LockedOrder {
    /// Which.
    pub id: OrderId,
    /// Its number.
    pub number: i32,
    /// Where it stands.
    pub state: OrderState,
    /// When it is due.
    pub due_on: Option<Day>,
    /// Counts the changes of its head and its lines.
    pub version: i64,
}

/// Holds an order by its number for the rest of the transaction.
pub async fn lock(conn: &mut PgConnection, number: i32) -> Result<LockedOrder, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, number, state, due_on, version FROM orders WHERE number = $1 FOR UPDATE",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    client: ClientId,
    order: &OrderForm,
    now: Moment,
) -> Result<(OrderId, i32), sqlx::Error> {
    let id = OrderId::new();
    let number = sqlx::query_scalar(
        "INSERT INTO orders (id, client_id, title, due_on, note, created_at) VALUES ($1, $2, $3, $4, $5, $6)
         RETURNING number",
    )
    .bind(id)
    .bind(client)
    .bind(&order.title)
    .bind(order.due_on)
    .bind(&order.note)
    .bind(now)
    .fetch_one(conn)
    .await?;
    Ok((id, number))
}

pub(super) async fn insert_client(
    conn: &mut PgConnection,
    name: &str,
    email: &str,
    phone: &str,
    now: Moment,
) -> Result<ClientId, sqlx::Error> {
    let id = ClientId::new();
    sqlx::query(
        "INSERT INTO clients (id, name, email, phone, created_at) VALUES ($1, $2, $3, $4, $5)",
    )
    .bind(id)
    .bind(name)
    .bind(email)
    .bind(phone)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(id)
}

pub(super) async fn update(
    conn: &mut PgConnection,
    id: OrderId,
    order: &OrderForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE orders SET title = $2, due_on = $3, note = $4, version = version + 1 WHERE id = $1",
    )
    .bind(id)
    .bind(&order.title)
    .bind(order.due_on)
    .bind(&order.note)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn insert_line(
    conn: &mut PgConnection,
    order: OrderId,
    version: DesignVersionId,
    line: &LineForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes)
         SELECT $1, $2, coalesce(max(n), 0) + 1, $3, $4, $5, $6 FROM order_lines WHERE order_id = $2",
    )
    .bind(crate::id::OrderLineId::new())
    .bind(order)
    .bind(version)
    .bind(line.alloy)
    .bind(line.quantity)
    .bind(line.finishing_minutes)
    .execute(conn)
    .await?;
    Ok(())
}

/// The version of the design on a line that stands.
pub(super) async fn version_on_line(
    conn: &mut PgConnection,
    order: OrderId,
    n: i32,
) -> Result<DesignVersionId, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT design_version_id FROM order_lines WHERE order_id = $1 AND n = $2 AND removed_at IS NULL",
    )
    .bind(order)
    .bind(n)
    .fetch_one(conn)
    .await
}

/// Another version of the same design.
pub(super) async fn sibling_version(
    conn: &mut PgConnection,
    version: DesignVersionId,
    n: i32,
) -> Result<Option<DesignVersionId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT other.id FROM design_versions v JOIN design_versions other ON other.design_id = v.design_id
         WHERE v.id = $1 AND other.n = $2",
    )
    .bind(version)
    .bind(n)
    .fetch_optional(conn)
    .await
}

pub(super) async fn update_line(
    conn: &mut PgConnection,
    order: OrderId,
    n: i32,
    version: DesignVersionId,
    line: &LineForm,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE order_lines SET design_version_id = $3, alloy_id = $4, quantity = $5, finishing_minutes = $6
         WHERE order_id = $1 AND n = $2",
    )
    .bind(order)
    .bind(n)
    .bind(version)
    .bind(line.alloy)
    .bind(line.quantity)
    .bind(line.finishing_minutes)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn remove_line(
    conn: &mut PgConnection,
    order: OrderId,
    n: i32,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE order_lines SET removed_at = $3 WHERE order_id = $1 AND n = $2 AND removed_at IS NULL")
        .bind(order)
        .bind(n)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

/// The client chose another way to make a line: another alloy, or cast without finishing.
pub async fn choose_line(
    conn: &mut PgConnection,
    order: OrderId,
    n: i32,
    alloy: Option<AlloyId>,
    as_cast: bool,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE order_lines SET alloy_id = coalesce($3, alloy_id),
           finishing_minutes = CASE WHEN $4 THEN 0 ELSE finishing_minutes END
         WHERE order_id = $1 AND n = $2 AND removed_at IS NULL",
    )
    .bind(order)
    .bind(n)
    .bind(alloy)
    .bind(as_cast)
    .execute(conn)
    .await?;
    Ok(())
}

/// Counts a change of the order, so that forms made before it are stale.
pub(super) async fn count_change(
    conn: &mut PgConnection,
    order: OrderId,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE orders SET version = version + 1 WHERE id = $1")
        .bind(order)
        .execute(conn)
        .await?;
    Ok(())
}

/// Marks the open quotes of an order as made for what it no longer is.
pub async fn outdate_quotes(
    conn: &mut PgConnection,
    order: OrderId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE quotes SET outdated_at = $2
         WHERE order_id = $1 AND state IN ('draft', 'sent') AND outdated_at IS NULL",
    )
    .bind(order)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Closes the open quotes of an order that is cancelled.
pub(super) async fn close_quotes(
    conn: &mut PgConnection,
    order: OrderId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE quotes SET state = 'replaced' WHERE order_id = $1 AND state IN ('draft', 'sent')",
    )
    .bind(order)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn write_state(
    conn: &mut PgConnection,
    order: OrderId,
    state: OrderState,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE orders SET state = $2, closed_at = $3 WHERE id = $1")
        .bind(order)
        .bind(state)
        .bind(state.is_closed().then_some(now))
        .execute(conn)
        .await?;
    Ok(())
}

/// The order is due on the day of its quote; forms made before are stale.
pub async fn set_due(
    conn: &mut PgConnection,
    order: OrderId,
    day: Option<Day>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE orders SET due_on = $2, version = version + 1 WHERE id = $1 AND due_on IS DISTINCT FROM $2",
    )
    .bind(order)
    .bind(day)
    .execute(conn)
    .await?;
    Ok(())
}

/// A quote was sent.
pub async fn mark_quoted(conn: &mut PgConnection, order: OrderId) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE orders SET state = 'quoted' WHERE id = $1 AND state = 'enquiry'")
        .bind(order)
        .execute(conn)
        .await?;
    Ok(())
}

/// The client said yes.
pub async fn mark_agreed(
    conn: &mut PgConnection,
    order: OrderId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE orders SET state = 'agreed', agreed_at = $2, version = version + 1 WHERE id = $1",
    )
    .bind(order)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Pieces of an order that stand in one of these ways.
pub(super) async fn pieces_standing(
    conn: &mut PgConnection,
    order: OrderId,
    standing: &[&str],
) -> Result<Vec<PieceId>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT id FROM pieces WHERE order_id = $1 AND standing = ANY($2) ORDER BY n",
    )
    .bind(order)
    .bind(standing)
    .fetch_all(conn)
    .await
}
