//! The client's answer, inside the caller's transaction.

use rust_decimal::Decimal;
use serde_json::json;
use sqlx::{PgConnection, PgPool};

use super::guest::Guest;
use crate::audit;
use crate::orders::{self, LockedOrder, OrderState};
use crate::pieces::{self, Act};
use crate::quotes::{self, Answered, Content, MetalRule, SentQuote};
use crate::web::{Fault, Refused};

/// Holds the order and the quote that the client was looking at.
async fn hold(
    conn: &mut PgConnection,
    guest: &Guest,
    seen: i32,
) -> Result<(LockedOrder, SentQuote), Fault> {
    let order = orders::lock(conn, guest.link.number).await?;
    match order.state {
        OrderState::Cancelled => {
            return Err(
                Refused::conflict("This order was cancelled. Ask the studio about it.").into()
            );
        }
        state if state.has_pieces() => {
            return Err(Refused::conflict(
                "You have said yes already. Your order is agreed, and once is enough.",
            )
            .into());
        }
        _ => {}
    }
    let Some(quote) = quotes::lock_sent(conn, order.id).await? else {
        return Err(Refused::conflict(
            "This quote is no longer open. The studio sends you a new one if you ask for it.",
        )
        .into());
    };
    if quote.n != seen {
        return Err(Refused::conflict(
            "The studio replaced this quote while you were looking at it. Please read the new one, below.",
        )
        .into());
    }
    Ok((order, quote))
}

/// A yes as it was sent.
pub(super) struct Said<'a> {
    /// Which version they were looking at.
    pub(super) quote: i32,
    /// Their name.
    pub(super) name: &'a str,
    /// Which way they chose; 0 is what was asked. None where nothing was chosen.
    pub(super) option: Option<usize>,
    /// The total that was on their page.
    pub(super) total: Option<Decimal>,
}

/// A quote with its metal at today's price; `None` when that cannot be told.
pub(super) async fn at_today(
    pool: &PgPool,
    guest: &Guest,
    content: &Content,
) -> Result<Option<Content>, sqlx::Error> {
    let today = guest.now.day_in(&guest.show.zone);
    quotes::on_day(pool, content, today, &guest.show.day(today)).await
}

/// The client says yes: the quote is accepted, the order agreed, and its pieces are queued.
pub(super) async fn say_yes(
    conn: &mut PgConnection,
    pool: &PgPool,
    guest: &Guest,
    said: &Said<'_>,
) -> Result<(), Fault> {
    let (order, quote) = hold(conn, guest, said.quote).await?;
    if quote.outdated_at.is_some() {
        return Err(Refused::conflict(
            "The order changed after this quote was sent, so it cannot be accepted. The studio sends you a new one.",
        )
        .into());
    }
    if quote.valid_until < guest.now.day_in(&guest.show.zone) {
        return Err(Refused::conflict(
            "This quote has run out, because metal prices move. Ask the studio for a new one.",
        )
        .into());
    }
    let only = quote.content.options.is_empty().then_some(0);
    let Some(option) = said.option.or(only) else {
        return Err(Refused::input("option", "Choose which way you want it made.").into());
    };
    let Some((chosen, lines)) = quote.content.choosing(option) else {
        return Err(Refused::input("option", "Choose one of these.").into());
    };
    let agreed = at_today(pool, guest, &chosen).await?.ok_or_else(|| {
        Refused::conflict(
            "The metal in this quote has no price for today, so it cannot be accepted yet. Ask the studio.",
        )
    })?;
    // What moves with the day is agreed only at the total that was on the page.
    if agreed.metal_rule == MetalRule::DayOfYes && said.total != Some(agreed.totals.gross) {
        return Err(Refused::conflict(
            "The price of the metal changed while you were looking. Please read the new total, below, and answer again.",
        )
        .into());
    }
    let name = said.name;
    let answered = Answered { name, words: "", at: guest.now };
    quotes::accept(conn, order.id, &quote, &agreed, answered).await?;
    for line in lines {
        orders::choose_line(conn, order.id, line.n, line.alloy, line.as_cast).await?;
    }
    orders::mark_agreed(conn, order.id, guest.now).await?;
    let act = Act::new(guest.now, None);
    let made = pieces::create_for_order(conn, order.id, order.number, &act).await?;
    let detail = json!({
        "quote": quote.n, "name": name, "pieces": made, "chosen": agreed.chosen, "total": agreed.totals.gross,
    });
    note(conn, guest, "said yes", detail).await
}

/// The client declines.
pub(super) async fn say_no(
    conn: &mut PgConnection,
    guest: &Guest,
    seen: i32,
    words: &str,
) -> Result<(), Fault> {
    let (order, quote) = hold(conn, guest, seen).await?;
    let answered = Answered { name: "", words, at: guest.now };
    quotes::decline(conn, order.id, &quote, answered).await?;
    note(conn, guest, "declined", json!({ "quote": quote.n, "why": words })).await
}

async fn note(
    conn: &mut PgConnection,
    guest: &Guest,
    action: &str,
    detail: serde_json::Value,
) -> Result<(), Fault> {
    let subject = format!("order:{}", guest.link.number);
    Ok(audit::note(conn, guest.now, None, action, &subject, detail).await?)
}
