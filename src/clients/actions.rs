//! What is done to clients, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::forms::ClientForm;
use super::store;
use crate::audit;
use crate::id::ClientId;
use crate::metal;
use crate::people::Signed;
use crate::web::{Fault, Form, Refused};

pub(super) async fn add(
    conn: &mut PgConnection,
    signed: &Signed,
    client: &ClientForm,
) -> Result<ClientId, Fault> {
    let id = ClientId::new();
    store::insert(conn, id, client, signed.now).await?;
    if signed.frame.owner() {
        store::set_class(conn, id, client.class).await?;
    }
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
    if signed.frame.owner() {
        store::set_class(conn, id, client.class).await?;
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

/// Puts a client out of use. Nothing of theirs is deleted; with metal of theirs here or an
/// order open it is refused.
pub(super) async fn archive(
    conn: &mut PgConnection,
    signed: &Signed,
    id: ClientId,
) -> Result<(), Fault> {
    if let Some(metal) = metal::open_with(&mut *conn, id).await? {
        return Err(Refused::conflict(format!(
            "They still have metal here: {metal}. Give it back or settle it first."
        ))
        .into());
    }
    let open = store::open_orders(conn, id).await?;
    if open > 0 {
        return Err(Refused::conflict(format!(
            "{open} of their orders are not closed. Hand them over or cancel them first."
        ))
        .into());
    }
    if store::set_archived(conn, id, Some(signed.now)).await? {
        note(conn, signed, id, "put out of use").await?;
    }
    Ok(())
}

/// Brings a client back.
pub(super) async fn bring_back(
    conn: &mut PgConnection,
    signed: &Signed,
    id: ClientId,
) -> Result<(), Fault> {
    if store::set_archived(conn, id, None).await? {
        note(conn, signed, id, "brought back").await?;
    }
    Ok(())
}

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    id: ClientId,
    action: &str,
) -> Result<(), Fault> {
    let subject = format!("client:{id}");
    Ok(audit::note(conn, signed.now, Some(signed.person), action, &subject, json!({})).await?)
}
