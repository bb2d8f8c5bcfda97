//! What is done to invoices and accounts, inside the caller's transaction.

use rust_decimal::Decimal;
use serde_json::json;
use sqlx::PgConnection;

use super::account::{self, By, NewEntry};
use super::forms::DraftForm;
use super::model::{Fixed, Line, Rounding, Rules, TaxAmount, reckon};
use super::rates::{self, currency};
use super::store::{self, Deducting, InvoicingRow, Locked, NewDraft};
use super::{from_quote, view};
use crate::audit;
use crate::id::{ClientId, EntryId, InvoiceId};
use crate::orders;
use crate::people::Signed;
use crate::quotes;
use crate::studio::Settings;
use crate::web::{Fault, Refused, Show};

/// Which part of an order is invoiced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Deposit,
    Rest,
}

fn too_large() -> Refused {
    Refused::conflict(
        "The amounts are too large to be kept exactly; look for a slipped decimal point.",
    )
}

pub(super) async fn note(
    conn: &mut PgConnection,
    signed: &Signed,
    action: &str,
    subject: String,
    detail: serde_json::Value,
) -> Result<(), Fault> {
    Ok(audit::note(conn, signed.now, Some(signed.person), action, &subject, detail).await?)
}

/// Keeps the lines of a draft with what they come to.
async fn keep(
    conn: &mut PgConnection,
    id: InvoiceId,
    lines: &[Deducting],
    rules: Rules,
) -> Result<(), Fault> {
    let plain: Vec<Line> = lines.iter().map(|(line, _)| line.clone()).collect();
    let (reckoned, totals) = reckon(&plain, rules).map_err(|_| too_large())?;
    Ok(store::write_lines(conn, id, lines, &reckoned, &totals).await?)
}

/// A draft of an order's deposit, or of the rest; the one there is already is led to.
pub(super) async fn draft_for_order(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    part: Part,
) -> Result<InvoiceId, Fault> {
    let order = orders::lock(conn, number).await?;
    let quote =
        quotes::standing(&mut *conn, order.id).await?.filter(|quote| quote.state == "accepted");
    let Some(quote) = quote else {
        return Err(Refused::conflict(
            "The client has not accepted a quote of this order, so there is nothing agreed to invoice. Write a free invoice from the client's account instead.",
        )
        .into());
    };
    let content = &quote.content.0;
    let purpose = if part == Part::Deposit { "deposit" } else { "rest" };
    if let Some(there) = view::standing_for(&mut *conn, order.id, purpose).await? {
        return Ok(there);
    }
    if content.totals.gross.is_zero() {
        return Err(Refused::conflict(
            "The order was agreed at nothing, so there is nothing to invoice. If a paper is needed all the same, write a free invoice from the client's account.",
        )
        .into());
    }
    if part == Part::Deposit && content.deposit.is_zero() {
        return Err(Refused::conflict("No deposit was agreed for this order.").into());
    }
    if part == Part::Deposit && view::standing_for(&mut *conn, order.id, "rest").await?.is_some() {
        return Err(Refused::conflict("The whole order is invoiced already.").into());
    }
    if part == Part::Rest && view::draft_for(&mut *conn, order.id, "deposit").await? {
        return Err(Refused::conflict(
            "The deposit's invoice is still a draft. Issue it or throw it away first, so that the invoice of the rest can take it off.",
        )
        .into());
    }
    let settings = store::invoicing(&mut *conn).await?;
    let money = currency(&content.currency)?;
    let lines: Vec<Deducting> = if part == Part::Deposit {
        from_quote::deposit(content, number, quote.n, money)
            .into_iter()
            .map(|line| (line, None))
            .collect()
    } else {
        let mut lines: Vec<Deducting> =
            from_quote::whole(content).into_iter().map(|line| (line, None)).collect();
        for deposit in view::deposits(&mut *conn, order.id).await? {
            lines.extend(deducting(&deposit, content.tax_inclusive));
        }
        lines
    };
    let head = NewDraft {
        kind: "invoice",
        purpose: purpose.to_owned(),
        client: view::client_of_order(&mut *conn, order.id).await?,
        order: Some(order.id),
        corrects: None,
        currency: content.currency.clone(),
        tax_inclusive: content.tax_inclusive,
        tax_rounding: settings.tax_rounding.clone(),
        due_days: if part == Part::Deposit { 0 } else { settings.due_days },
        note: String::new(),
        booked: match &content.exchange {
            Some(exchange) => {
                Some(rates::booked_today(conn, signed, &content.currency, exchange).await?)
            }
            None => None,
        },
    };
    let id = store::insert_draft(conn, &head, signed.person, signed.now).await?;
    let rounding = Rounding::named(&settings.tax_rounding);
    keep(conn, id, &lines, Rules { currency: money, inclusive: content.tax_inclusive, rounding })
        .await?;
    note(conn, signed, "drafted an invoice", format!("order:{number}"), json!({ "name": purpose }))
        .await?;
    Ok(id)
}

/// The lines that take a deposit off, to the cent of what was invoiced: one for each tax where
/// each tax was on an amount of its own, so that what is taxed at which rate stays told.
fn deducting(deposit: &view::DepositRow, inclusive: bool) -> Vec<Deducting> {
    let taxes = &deposit.taxes.0;
    let taxed: Decimal = taxes.iter().map(|tax| tax.base).sum();
    let apart = taxes.len() > 1 && taxed == deposit.net;
    let parts: Vec<(Decimal, Vec<&view::TaxRow>)> = if apart {
        taxes.iter().map(|tax| (tax.base, vec![tax])).collect()
    } else {
        vec![(deposit.net, taxes.iter().collect())]
    };
    parts
        .into_iter()
        .map(|(net, taxes)| {
            let words = match taxes.first() {
                Some(tax) if apart => format!(
                    "Less the deposit, invoice {}: the part with {} {} %",
                    deposit.label,
                    tax.name,
                    tax.percent.normalize()
                ),
                _ => format!("Less the deposit, invoice {}", deposit.label),
            };
            (taken_off(words, net, &taxes, inclusive), Some(deposit.id))
        })
        .collect()
}

fn taken_off(words: String, net: Decimal, taxes: &[&view::TaxRow], inclusive: bool) -> Line {
    let taxes: Vec<TaxAmount> = taxes
        .iter()
        .map(|tax| TaxAmount {
            name: tax.name.clone(),
            percent: tax.percent.normalize(),
            amount: -tax.amount,
        })
        .collect();
    let tax: Decimal = taxes.iter().map(|tax| tax.amount).sum();
    let amount = if inclusive { tax - net } else { -net };
    Line {
        words,
        quantity: Decimal::ONE,
        unit_price: amount,
        discount: Decimal::ZERO,
        taxes: taxes
            .iter()
            .map(|tax| super::model::Tax { name: tax.name.clone(), percent: tax.percent })
            .collect(),
        fixed: Some(Fixed { amount, net: -net, taxes }),
    }
}

/// An empty draft for a client.
pub(super) async fn blank(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
) -> Result<InvoiceId, Fault> {
    store::lock_account(conn, client).await?;
    let settings = store::invoicing(&mut *conn).await?;
    let studio = Settings::load(&mut *conn).await?;
    let head = NewDraft {
        kind: "invoice",
        purpose: "other".to_owned(),
        client,
        order: None,
        corrects: None,
        currency: studio.currency,
        tax_inclusive: studio.tax_inclusive,
        tax_rounding: settings.tax_rounding,
        due_days: settings.due_days,
        note: String::new(),
        booked: None,
    };
    Ok(store::insert_draft(conn, &head, signed.person, signed.now).await?)
}

async fn hold_draft(conn: &mut PgConnection, id: InvoiceId, seen: i64) -> Result<Locked, Fault> {
    let held = store::lock(conn, id).await?;
    if held.state != "draft" {
        let label = held.label.unwrap_or_default();
        return Err(Refused::conflict(format!(
            "{label} is issued, and what is issued does not change. Put it right with a credit note and a new invoice."
        ))
        .into());
    }
    if held.version != seen {
        return Err(Refused::stale("this draft").into());
    }
    Ok(held)
}

/// Changes a draft.
pub(super) async fn save(
    conn: &mut PgConnection,
    signed: &Signed,
    id: InvoiceId,
    typed: &DraftForm,
    seen: i64,
) -> Result<(), Fault> {
    let held = hold_draft(conn, id, seen).await?;
    store::change_head(conn, id, typed.due_days, &typed.note).await?;
    let mut money = currency(&held.currency)?;
    if let Some(abroad) = typed.abroad.as_ref().filter(|_| held.kind == "invoice") {
        money =
            rates::change_currency(conn, signed, &held, abroad, !typed.lines.is_empty()).await?;
    }
    let rules = Rules {
        currency: money,
        inclusive: held.tax_inclusive,
        rounding: Rounding::named(&held.tax_rounding),
    };
    keep(conn, id, &typed.lines, rules).await
}

/// Issues a draft: a number, an entry on the client's account, and no more changes.
pub(super) async fn issue(
    conn: &mut PgConnection,
    signed: &Signed,
    id: InvoiceId,
    seen: i64,
) -> Result<(), Fault> {
    let held = hold_draft(conn, id, seen).await?;
    if store::lines(&mut *conn, id).await?.is_empty() {
        return Err(
            Refused::conflict("There is no line on it yet. Add what it is for, and save.").into()
        );
    }
    if held.total.is_sign_negative() && !held.total.is_zero() {
        return Err(Refused::conflict(
            "It comes to less than nothing. Money that goes back to a client stands on a credit note or a refund.",
        )
        .into());
    }
    let own = Settings::load(&mut *conn).await?.currency;
    if held.currency != own && store::booked(conn, id).await?.is_none() {
        return Err(Refused::conflict(format!(
            "It is in {}, and the studio reckons in {own}. Save the draft with a rate first.",
            held.currency
        ))
        .into());
    }
    let corrected = match held.corrects {
        Some(corrected) => {
            within_corrected(conn, &signed.frame.show, &held, corrected).await?;
            Some(EntryId(corrected.0))
        }
        None => None,
    };
    let today = signed.now.day_in(&signed.frame.show.zone);
    let due = today.plus_days(held.due_days);
    let label = store::issue(conn, id, today, due).await?;
    let by = By { person: signed.person, at: signed.now, on: today };
    let entry = NewEntry {
        id: EntryId(id.0),
        client: held.client_id,
        kind: if held.kind == "invoice" { "invoice" } else { "credit_note" },
        currency: &held.currency,
        amount: held.total,
        on: today,
        method: "",
        reference: &label,
        reverses: None,
        booked: view::booked_total(&mut *conn, id).await?,
    };
    account::insert(conn, &entry, by).await?;
    if let Some(debit) = corrected {
        let owed = account::open_of(conn, debit.0).await?;
        account::settle(conn, entry.id, debit, held.total.min(owed), by).await?;
    }
    let detail =
        json!({ "name": label, "total": held.total.to_string(), "currency": held.currency });
    if let Some(order) = held.order_id {
        let number = view::number_of_order(&mut *conn, order).await?;
        note(conn, signed, "issued", format!("order:{number}"), detail.clone()).await?;
    }
    note(conn, signed, "issued", format!("invoice:{id}"), detail).await
}

/// A credit note takes back no more than what was invoiced and is not taken back yet.
async fn within_corrected(
    conn: &mut PgConnection,
    show: &Show,
    note: &Locked,
    corrected: InvoiceId,
) -> Result<(), Fault> {
    let left = view::left_of(&mut *conn, corrected).await?;
    if note.total > left.total {
        return Err(Refused::conflict(format!(
            "The credit note comes to {}, but only {} of the invoice is not credited yet. Make its lines smaller.",
            show.money_text(note.total, &note.currency),
            show.money_text(left.total, &note.currency)
        ))
        .into());
    }
    for tax in view::taxes(&mut *conn, note.id).await? {
        let most = left
            .taxes
            .iter()
            .find(|known| known.name == tax.name && known.percent == tax.percent)
            .map_or(Decimal::ZERO, |known| known.amount);
        if tax.amount > most {
            return Err(Refused::conflict(format!(
                "The credit note takes back {} of {} {} %, but the invoice has only {} of it left. Look at the taxes of its lines.",
                show.money_text(tax.amount, &note.currency),
                tax.name,
                tax.percent.normalize(),
                show.money_text(most, &note.currency)
            ))
            .into());
        }
    }
    Ok(())
}

/// Throws a draft away; it has no number, so none is missing.
pub(super) async fn discard(
    conn: &mut PgConnection,
    id: InvoiceId,
    seen: i64,
) -> Result<Locked, Fault> {
    let held = hold_draft(conn, id, seen).await?;
    store::discard(conn, id).await?;
    Ok(held)
}

/// A draft of a credit note with the lines of an issued invoice.
pub(super) async fn credit(
    conn: &mut PgConnection,
    signed: &Signed,
    id: InvoiceId,
) -> Result<InvoiceId, Fault> {
    let held = store::lock(conn, id).await?;
    if held.state != "issued" || held.kind != "invoice" {
        return Err(
            Refused::conflict("Only an issued invoice is put right by a credit note.").into()
        );
    }
    if let Some(draft) = view::draft_correcting(&mut *conn, id).await? {
        return Ok(draft);
    }
    if let Some(label) = view::deducted_by(&mut *conn, id).await? {
        return Err(Refused::conflict(format!(
            "Invoice {label} takes this deposit off. Credit that one first."
        ))
        .into());
    }
    let left = view::left_of(&mut *conn, id).await?;
    if left.total.is_zero() && !held.total.is_zero() {
        return Err(Refused::conflict("Everything on this invoice is credited already.").into());
    }
    let head = NewDraft {
        kind: "credit_note",
        purpose: held.purpose.clone(),
        client: held.client_id,
        order: held.order_id,
        corrects: Some(id),
        currency: held.currency.clone(),
        tax_inclusive: held.tax_inclusive,
        tax_rounding: held.tax_rounding.clone(),
        due_days: 0,
        note: String::new(),
        booked: store::booked(conn, id).await?,
    };
    let draft = store::insert_draft(conn, &head, signed.person, signed.now).await?;
    let lines: Vec<Deducting> = store::lines(&mut *conn, id)
        .await?
        .iter()
        .map(|row| {
            let mut line = row.line();
            line.fixed =
                Some(Fixed { amount: row.amount, net: row.net, taxes: row.taxes.0.clone() });
            (line, None)
        })
        .collect();
    let rules = Rules {
        currency: currency(&held.currency)?,
        inclusive: held.tax_inclusive,
        rounding: Rounding::named(&held.tax_rounding),
    };
    keep(conn, draft, &lines, rules).await?;
    Ok(draft)
}

/// Changes what stands on invoices from now on.
pub(super) async fn change_invoicing(
    conn: &mut PgConnection,
    signed: &Signed,
    row: &InvoicingRow,
) -> Result<(), Fault> {
    if !store::change_invoicing(conn, row).await? {
        return Err(Refused::stale("these settings").into());
    }
    note(conn, signed, "changed", "invoicing".to_owned(), json!({})).await
}
