//! All SQL that writes clients.

use sqlx::{FromRow, PgConnection};

use super::forms::ClientForm;
use crate::clock::Moment;
use crate::id::{ClassId, ClientId};

#[derive(Clone, Debug, FromRow)]
pub(super) struct ClientRow {
    pub(super) id: ClientId,
    pub(super) name: String,
    pub(super) email: String,
    pub(super) phone: String,
    pub(super) address: String,
    pub(super) note: String,
    pub(super) class_id: Option<ClassId>,
    pub(super) archived_at: Option<Moment>,
    pub(super) version: i64,
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    id: ClientId,
    client: &ClientForm,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO clients (id, name, email, phone, address, note, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(id)
    .bind(&client.name)
    .bind(&client.email)
    .bind(&client.phone)
    .bind(&client.address)
    .bind(&client.note)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Puts a client in a class, or in none.
pub(super) async fn set_class(
    conn: &mut PgConnection,
    id: ClientId,
    class: Option<ClassId>,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE clients SET class_id = $2 WHERE id = $1")
        .bind(id)
        .bind(class)
        .execute(conn)
        .await?;
    Ok(())
}

/// Puts a client out of use, or back; says whether that changed anything.
pub(super) async fn set_archived(
    conn: &mut PgConnection,
    id: ClientId,
    at: Option<Moment>,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE clients SET archived_at = $2, version = version + 1
         WHERE id = $1 AND (archived_at IS NULL) = ($2::timestamptz IS NOT NULL)",
    )
    .bind(id)
    .bind(at)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Orders of a client that are not closed.
pub(super) async fn open_orders(conn: &mut PgConnection, id: ClientId) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(*) FROM orders WHERE client_id = $1 AND state NOT IN ('handed_over', 'cancelled')",
    )
    .bind(id)
    .fetch_one(conn)
    .await
}

/// Changes a client if nobody else did since `seen`; says whether it did.
pub(super) async fn update(
    conn: &mut PgConnection,
    id: ClientId,
    client: &ClientForm,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE clients SET name = $2, email = $3, phone = $4, address = $5, note = $6, version = version + 1
         WHERE id = $1 AND version = $7",
    )
    .bind(id)
    .bind(&client.name)
    .bind(&client.email)
    .bind(&client.phone)
    .bind(&client.address)
    .bind(&client.note)
    .bind(seen)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
