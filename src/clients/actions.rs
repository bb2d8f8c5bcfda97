//! What is done to clients, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::ClientForm;
use super::store;
use crate::audit;
use crate::id::ClientId;
use crate::people::Signed;
use crate::web::{Fault, Form, Refused};

pub(super) async fn add(
    conn: &mut PgConnection,
    signed: &Signed,
    client: &ClientForm,
) -> Result<ClientId, Fault> {
    let id = ClientId::new();
    store::insert(conn, id, client, signed.now).await?;
    let subject = format!("client:{id}");
    audit::note(
        conn,
        signed.now,
        Some(signed.person),
        "added",
        &subject,
        json!({ "name": client.name }),
    )
    .await?;
    Ok(id)
}

/// Adds a client as told by another program; `None` after noting at each field what is wrong.
pub async fn add_typed(
    conn: &mut PgConnection,
    signed: &Signed,
    form: &mut Form,
) -> Result<Option<ClientId>, Fault> {
    match ClientForm::read(form) {
        Some(client) => add(conn, signed, &client).await.map(Some),
        None => Ok(None),
    }
}

pub(super) async fn change(
    conn: &mut PgConnection,
    signed: &Signed,
    id: ClientId,
    client: &ClientForm,
    seen: i64,
) -> Result<(), Fault> {
    if !store::update(conn, id, client, seen).await? {
        return Err(Refused::stale("this client").into());
    }
    let subject = format!("client:{id}");
    audit::note(
        conn,
        signed.now,
        Some(signed.person),
        "changed",
        &subject,
        json!({ "name": client.name }),
    )
    .await?;
    Ok(())
}
