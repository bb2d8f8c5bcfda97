//! What is done to orders, inside the caller's transaction.

use serde_json::{Value, json};
use sqlx::PgConnection;

use super::forms::{ForWhom, LineForm, OrderForm};
use super::state::OrderState;
use super::store::{self, LockedOrder};
use crate::audit;
use crate::designs::{self, Taken};
use crate::finishing;
use crate::id::{ClientId, DesignVersionId, OrderId};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening};
use crate::web::{Fault, Refused};

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    action: &str,
    detail: Value,
) -> Result<(), sqlx::Error> {
    let subject = format!("order:{number}");
    audit::note(conn, signed.now, Some(signed.person), action, &subject, detail).await
}

/// Opens an order for a client who is known or new.
pub(super) async fn open(
    conn: &mut PgConnection,
    signed: &Signed,
    whom: &ForWhom,
    order: &OrderForm,
) -> Result<(OrderId, i32, ClientId), Fault> {
    let client = match whom {
        ForWhom::Known(client) => *client,
        ForWhom::New { name, email, phone } => {
            let id = store::insert_client(conn, name, email, phone, signed.now).await?;
            let subject = format!("client:{id}");
            let detail = json!({ "name": name });
            audit::note(conn, signed.now, Some(signed.person), "added", &subject, detail).await?;
            id
        }
    };
    let (id, number) = store::insert(conn, client, order, signed.now).await?;
    note(conn, signed, number, "opened", json!({ "title": order.title })).await?;
    Ok((id, number, client))
}

/// Puts each file on the order as a design and a line.
pub(super) async fn add_files(
    conn: &mut PgConnection,
    signed: &Signed,
    order: OrderId,
    client: ClientId,
    files: &[Taken],
    line: &LineForm,
) -> Result<(), Fault> {
    for file in files {
        let (_, version) =
            designs::add_from_file(conn, signed, file, Some(client), Some(line.alloy)).await?;
        store::insert_line(conn, order, version, line).await?;
    }
    Ok(())
}

/// Puts a design on a new order as a line.
pub(super) async fn add_first_line(
    conn: &mut PgConnection,
    order: OrderId,
    version: DesignVersionId,
    line: &LineForm,
) -> Result<(), Fault> {
    Ok(store::insert_line(conn, order, version, line).await?)
}

/// Holds an order whose lines may change and whose form is not stale.
pub(super) async fn lock_for_lines(
    conn: &mut PgConnection,
    number: i32,
    seen: i64,
) -> Result<LockedOrder, Fault> {
    let order = store::lock(conn, number).await?;
    if !order.state.is_open_to_change() {
        return Err(Refused::conflict(format!(
            "The order is {}, so its lines stay as they are. Open another order for what is to be made besides.",
            order.state
        ))
        .into());
    }
    if order.version != seen {
        return Err(Refused::stale("this order").into());
    }
    Ok(order)
}

/// Notes that lines changed: forms and quotes made before are outdated.
pub(super) async fn lines_changed(
    conn: &mut PgConnection,
    signed: &Signed,
    order: &LockedOrder,
    action: &str,
    detail: Value,
) -> Result<(), Fault> {
    store::count_change(conn, order.id).await?;
    store::outdate_quotes(conn, order.id, signed.now).await?;
    Ok(note(conn, signed, order.number, action, detail).await?)
}

pub(super) async fn add_line(
    conn: &mut PgConnection,
    signed: &Signed,
    order: &LockedOrder,
    version: DesignVersionId,
    line: &LineForm,
) -> Result<(), Fault> {
    store::insert_line(conn, order.id, version, line).await?;
    lines_changed(conn, signed, order, "added line", json!({ "quantity": line.quantity })).await
}

pub(super) async fn change_line(
    conn: &mut PgConnection,
    signed: &Signed,
    order: &LockedOrder,
    n: i32,
    version_n: Option<i32>,
    line: &LineForm,
) -> Result<(), Fault> {
    let mut version = store::version_on_line(conn, order.id, n).await?;
    if let Some(wanted) = version_n {
        version = store::sibling_version(conn, version, wanted).await?.ok_or(Fault::NotFound)?;
    }
    store::update_line(conn, order.id, n, version, line).await?;
    let detail = json!({ "line": n, "quantity": line.quantity });
    lines_changed(conn, signed, order, "changed line", detail).await
}

pub(super) async fn remove_line(
    conn: &mut PgConnection,
    signed: &Signed,
    order: &LockedOrder,
    n: i32,
) -> Result<(), Fault> {
    store::version_on_line(conn, order.id, n).await?;
    store::remove_line(conn, order.id, n, signed.now).await?;
    lines_changed(conn, signed, order, "removed line", json!({ "line": n })).await
}

/// Changes what an order is called, when it is due, and the note.
pub(super) async fn change(
    conn: &mut PgConnection,
    signed: &Signed,
    order: &LockedOrder,
    typed: &OrderForm,
    seen: i64,
) -> Result<(), Fault> {
    if order.version != seen {
        return Err(Refused::stale("this order").into());
    }
    store::update(conn, order.id, typed).await?;
    let due = typed.due_on.map(|day| day.to_string());
    let detail = json!({ "title": typed.title, "due": due });
    Ok(note(conn, signed, order.number, "changed", detail).await?)
}

/// Cancels an order with every piece that is not ready yet.
pub(super) async fn cancel(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    why: &str,
) -> Result<(), Fault> {
    let order = store::lock(conn, number).await?;
    if order.state.is_closed() {
        return Err(Refused::conflict(format!("The order is {} already.", order.state)).into());
    }
    let alive = store::pieces_standing(conn, order.id, &["waiting", "in_hand"]).await?;
    let act = Act::new(signed.now, Some(signed.person)).noting(why);
    pieces::record(conn, &alive, &Happening::Cancelled, &act).await?;
    store::close_quotes(conn, order.id).await?;
    store::write_state(conn, order.id, OrderState::Cancelled, signed.now).await?;
    store::count_change(conn, order.id).await?;
    let detail = json!({ "why": why, "pieces": alive.len() });
    Ok(note(conn, signed, number, "cancelled", detail).await?)
}

/// Hands over every piece that is ready.
pub(super) async fn hand_over(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
) -> Result<(), Fault> {
    let order = store::lock(conn, number).await?;
    let ready = store::pieces_standing(conn, order.id, &["ready"]).await?;
    if ready.is_empty() {
        return Err(Refused::conflict(
            "No piece of this order is ready to be handed over. Look at the route cards below.",
        )
        .into());
    }
    let act = Act::new(signed.now, Some(signed.person));
    let held = pieces::lock(conn, &ready).await?;
    finishing::deliver(conn, &held, &act).await?;
    Ok(note(conn, signed, number, "handed over", json!({ "pieces": ready.len() })).await?)
}
