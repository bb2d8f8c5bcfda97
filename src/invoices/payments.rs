//! What is done to clients' accounts: payments, refunds, credit, inside the caller's transaction.

use rust_decimal::Decimal;
use serde_json::json;
use sqlx::PgConnection;

use super::account::{self, By, NewEntry};
use super::actions::note;
use super::forms::{Money, PaymentForm};
use super::rates::{booked, currency, money_of};
use super::{store, view};
use crate::id::{ClientId, EntryId, InvoiceId};
use crate::people::Signed;
use crate::web::{Fault, Form, Refused};

/// Notes a payment. It pays for the chosen invoice, or for the oldest first; what is left
/// over is the client's credit, once somebody has said that it is so.
pub(super) async fn pay(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    typed: &PaymentForm,
) -> Result<EntryId, Fault> {
    store::lock_account(conn, client).await?;
    let id = EntryId::new();
    let by = By { person: signed.person, at: signed.now, on: typed.money.on };
    let entry = NewEntry {
        id,
        client,
        kind: "payment",
        currency: &typed.money.currency,
        amount: typed.money.amount,
        on: typed.money.on,
        method: &typed.money.method,
        reference: &typed.money.reference,
        reverses: None,
        booked: booked(conn, client, &typed.money).await?,
    };
    account::insert(conn, &entry, by).await?;
    let mut owed = account::open(conn, client, &typed.money.currency, true).await?;
    if let Some(wanted) = typed.invoice {
        owed.retain(|open| open.id.0 == wanted.0);
        if owed.is_empty() {
            return Err(Refused::input(
                "invoice",
                "Nothing is owed on this invoice any more. Choose another, or “the oldest first”.",
            )
            .into());
        }
    }
    let over = spread(conn, id, &owed, typed.money.amount, by, true).await?;
    if !over.is_zero() && !typed.sure {
        return Err(Refused::doubted(more_than_owed(signed, &typed.money, over)).into());
    }
    let detail = json!({ "amount": typed.money.amount.to_string(), "currency": typed.money.currency, "over": over.to_string() });
    note(conn, signed, "noted a payment", format!("client:{client}"), detail).await?;
    Ok(id)
}

/// What is asked about a payment of more than is owed.
fn more_than_owed(signed: &Signed, paid: &Money, over: Decimal) -> String {
    let show = &signed.frame.show;
    let money = |amount| show.money_text(amount, &paid.currency);
    if over == paid.amount {
        return format!(
            "Nothing is owed in {}. All of the {} would be the client's credit, for what is invoiced later. Is it so?",
            paid.currency,
            money(paid.amount)
        );
    }
    format!(
        "{} are owed and {} were paid: {} would be the client's credit. Is it so?",
        money(paid.amount - over),
        money(paid.amount),
        money(over)
    )
}

/// Notes a payment as told by another program, in the studio's currency or in another that the
/// client has an account in; `None` after noting at each field what is wrong.
pub async fn note_payment(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    form: &mut Form,
) -> Result<Option<EntryId>, Fault> {
    let show = &signed.frame.show;
    let own = currency(&show.units.currency)?;
    let known = view::currencies(&mut *conn, client).await?;
    let money = money_of(form, own, &known)?;
    let today = signed.now.day_in(&show.zone);
    match PaymentForm::read(form, money, own, today) {
        // A program tells what its bank says; nobody is there to be asked.
        Some(typed) => {
            let typed = PaymentForm { sure: true, ..typed };
            pay(conn, signed, client, &typed).await.map(Some)
        }
        None => Ok(None),
    }
}

/// Settles an entry against others in turn; what is left of it.
async fn spread(
    conn: &mut PgConnection,
    id: EntryId,
    others: &[account::Open],
    amount: Decimal,
    by: By,
    credit: bool,
) -> Result<Decimal, sqlx::Error> {
    let mut left = amount;
    for other in others {
        let part = left.min(other.open);
        if credit {
            account::settle(conn, id, other.id, part, by).await?;
        } else {
            account::settle(conn, other.id, id, part, by).await?;
        }
        left -= part;
    }
    Ok(left)
}

/// Gives credit back to the client.
pub(super) async fn refund(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    money: &Money,
) -> Result<(), Fault> {
    store::lock_account(conn, client).await?;
    let credits = account::open(conn, client, &money.currency, false).await?;
    let most: Decimal = credits.iter().map(|credit| credit.open).sum();
    if money.amount > most {
        return Err(Refused::input(
            "amount",
            format!(
                "The client has a credit of {}; no more can be given back.",
                signed.frame.show.money_text(most, &money.currency)
            ),
        )
        .into());
    }
    let today = signed.now.day_in(&signed.frame.show.zone);
    let by = By { person: signed.person, at: signed.now, on: today };
    let id = EntryId::new();
    let entry = NewEntry {
        id,
        client,
        kind: "refund",
        currency: &money.currency,
        amount: money.amount,
        on: money.on,
        method: &money.method,
        reference: &money.reference,
        reverses: None,
        booked: booked(conn, client, money).await?,
    };
    account::insert(conn, &entry, by).await?;
    spread(conn, id, &credits, money.amount, by, false).await?;
    let detail = json!({ "amount": money.amount.to_string(), "currency": money.currency });
    note(conn, signed, "gave money back", format!("client:{client}"), detail).await
}

/// Lets the client's credit pay for an invoice, the oldest credit first.
pub(super) async fn use_credit(
    conn: &mut PgConnection,
    signed: &Signed,
    id: InvoiceId,
) -> Result<(), Fault> {
    let held = store::lock(conn, id).await?;
    if held.state != "issued" || held.kind != "invoice" {
        return Err(Refused::conflict("Only an issued invoice can be paid.").into());
    }
    let owed = account::open_of(conn, id.0).await?;
    let credits = account::open(conn, held.client_id, &held.currency, false).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let by = By { person: signed.person, at: signed.now, on: today };
    let left = spread(conn, EntryId(id.0), &credits, owed, by, false).await?;
    if left == owed {
        return Err(Refused::conflict(
            "There is no credit that could pay for it, or nothing is owed.",
        )
        .into());
    }
    let detail = json!({ "amount": (owed - left).to_string(), "currency": held.currency });
    note(conn, signed, "used credit", format!("invoice:{id}"), detail).await
}

/// Takes back a payment or a refund that was noted wrongly, or that the bank sent back.
pub(super) async fn reverse(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    id: EntryId,
) -> Result<(), Fault> {
    store::lock_account(conn, client).await?;
    let entry = account::entry(conn, client, id).await?;
    let kind = match entry.kind.as_str() {
        "payment" => "payment_reversed",
        "refund" => "refund_reversed",
        _ => {
            return Err(Refused::conflict(
                "Only payments and refunds are reversed; an invoice is put right by a credit note.",
            )
            .into());
        }
    };
    if entry.reversed {
        return Err(Refused::conflict("This entry was reversed already.").into());
    }
    let today = signed.now.day_in(&signed.frame.show.zone);
    let by = By { person: signed.person, at: signed.now, on: today };
    account::unsettle(conn, id, by).await?;
    let new = NewEntry {
        id: EntryId::new(),
        client,
        kind,
        currency: &entry.currency,
        amount: entry.amount,
        on: today,
        method: "",
        reference: "",
        reverses: Some(id),
        booked: entry.booked_in.clone().zip(entry.booked),
    };
    account::insert(conn, &new, by).await?;
    let (credit, debit) = if kind == "payment_reversed" { (id, new.id) } else { (new.id, id) };
    account::settle(conn, credit, debit, entry.amount, by).await?;
    let detail = json!({ "amount": entry.amount.to_string(), "currency": entry.currency });
    note(conn, signed, kind, format!("client:{client}"), detail).await
}
