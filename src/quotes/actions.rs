//! What is done to quotes, inside the caller's transaction.

use serde_json::json;
use sqlx::PgConnection;

use super::content::Content;
use super::link::LINK_DAYS;
use super::store;
use crate::audit;
use crate::clock::Day;
use crate::orders::{self, LockedOrder};
use crate::people::Signed;
use crate::promises::{self, Outlook};
use crate::web::{Fault, Refused};

async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    order: &LockedOrder,
    action: &str,
    n: Option<i32>,
) -> Result<(), sqlx::Error> {
    let subject = format!("order:{}", order.number);
    let detail = n.map_or_else(|| json!({}), |n| json!({ "quote": n }));
    audit::note(conn, signed.now, Some(signed.person), action, &subject, detail).await
}

/// Keeps a price as the order's draft, if the order is still what was priced.
pub(super) async fn save_draft(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    content: &Content,
    (seen, other_currency_meant): (i64, bool),
) -> Result<i32, Fault> {
    let order = orders::lock(conn, number).await?;
    if !order.state.is_open_to_change() {
        return Err(Refused::conflict(format!(
            "The order is {}, so its price stands.",
            order.state
        ))
        .into());
    }
    if order.version != seen {
        return Err(Refused::stale("this order").into());
    }
    if let Some((n, before)) = store::last_currency(conn, order.id).await?
        && before != content.currency
        && !other_currency_meant
    {
        return Err(Refused::conflict(format!(
            "Quote {n} of this order is in {before}, this one would be in {}. Nothing was changed. Tick that it is meant and keep it again, or go back to {before}.",
            content.currency
        ))
        .at("other_currency")
        .into());
    }
    let today = signed.now.day_in(&signed.frame.show.zone);
    let days = i32::try_from(content.inputs.valid_days).unwrap_or(i32::MAX);
    let valid_until = today.plus_days(days);
    let n =
        store::write_draft(conn, order.id, content, valid_until, signed.person, signed.now).await?;
    note(conn, signed, &order, "priced", Some(n)).await?;
    Ok(n)
}

/// What goes with a quote that is sent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sent<'a> {
    pub(super) message: &'a str,
    /// When it is ready; one of the two where order and quote said different days.
    pub(super) day: Option<Day>,
    pub(super) outlook: Option<&'a Outlook>,
}

/// Sends a draft to the client: it can be accepted from now on, and the one before cannot.
pub(super) async fn send(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    n: i32,
    sent: Sent<'_>,
) -> Result<(), Fault> {
    let order = orders::lock(conn, number).await?;
    let quote = store::lock_quote(conn, order.id, n).await?;
    if !order.state.is_open_to_change() {
        let why = format!("The order is {}, so no quote can be sent for it.", order.state);
        return Err(Refused::conflict(why).into());
    }
    if quote.state != "draft" {
        return Err(Refused::conflict(format!(
            "Quote {n} is {} already. Price the order again for a new one.",
            quote.state
        ))
        .into());
    }
    if quote.outdated_at.is_some() {
        return Err(Refused::conflict(
            "The order changed after this price was worked out. Price it again before sending it.",
        )
        .into());
    }
    let today = signed.now.day_in(&signed.frame.show.zone);
    if quote.valid_until < today {
        return Err(Refused::conflict(
            "This price was valid until a day that has passed. Price the order again with today's prices.",
        )
        .into());
    }
    if quote.unpriced {
        return Err(Refused::conflict(
            "A line of this quote has no price yet. Put right what is named there and price the order again before sending it.",
        )
        .into());
    }
    if let (Some(due), Some(ready)) = (order.due_on, quote.ready_by)
        && due != ready
        && !sent.day.is_some_and(|day| day == due || day == ready)
    {
        return Err(Refused::conflict(
            "The order and this quote name different days. Choose the one that holds.",
        )
        .at("day")
        .into());
    }
    store::send(conn, order.id, quote.id, sent.message, signed.now).await?;
    if sent.day != quote.ready_by
        && let Some(day) = sent.day
    {
        store::move_ready(conn, quote.id, day).await?;
    }
    if order.due_on.is_some() && sent.day.is_some() && sent.day != order.due_on {
        orders::set_due(conn, order.id, sent.day).await?;
    }
    if let (Some(day), Some(outlook)) = (sent.day, sent.outlook) {
        let (person, now) = (signed.person, signed.now);
        promises::keep(conn, order.id, n, day, outlook, person, now).await?;
    }
    orders::mark_quoted(conn, order.id).await?;
    let until = signed.now.plus_minutes(LINK_DAYS * 24 * 60);
    if !store::lengthen_link(conn, order.id, signed.now, until).await? {
        store::revoke_link(conn, order.id, signed.now).await?;
        store::insert_link(conn, order.id, signed.person, signed.now, until).await?;
    }
    store::announce(conn, number).await?;
    Ok(note(conn, signed, &order, "sent", Some(n)).await?)
}

/// Makes a new link; the one before ends.
pub(super) async fn new_link(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
) -> Result<(), Fault> {
    let order = orders::lock(conn, number).await?;
    store::revoke_link(conn, order.id, signed.now).await?;
    let until = signed.now.plus_minutes(LINK_DAYS * 24 * 60);
    store::insert_link(conn, order.id, signed.person, signed.now, until).await?;
    Ok(note(conn, signed, &order, "made a new link", None).await?)
}

/// Ends the client's link.
pub(super) async fn revoke_link(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
) -> Result<(), Fault> {
    let order = orders::lock(conn, number).await?;
    if store::revoke_link(conn, order.id, signed.now).await? {
        note(conn, signed, &order, "ended the link", None).await?;
    }
    Ok(())
}
