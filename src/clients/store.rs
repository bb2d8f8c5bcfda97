//! All SQL that writes clients.

use sqlx::{FromRow, PgConnection};

use super::forms::ClientForm;
use crate::clock::Moment;
use crate::id::ClientId;

#[derive(Clone, Debug, FromRow)]
pub(super) struct ClientRow {
    pub(super) id: ClientId,
    pub(super) name: String,
    pub(super) email: String,
    pub(super) phone: String,
    pub(super) address: String,
    pub(super) note: String,
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
