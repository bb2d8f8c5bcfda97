//! All SQL that writes invoices.

use foundry::quantity::Currency;
use rust_decimal::{Decimal, RoundingStrategy};
use sqlx::types::Json;
use sqlx::{FromRow, PgConnection, PgExecutor};

use super::model::{Fixed, Line, Reckoned, Tax, TaxAmount, Totals, write_taxes};
use crate::clock::{Day, Moment};
use crate::id::{ClientId, InvoiceId, OrderId, PersonId};

/// What stands on every invoice.
#[derive(Clone, Debug, FromRow)]
pub(super) struct InvoicingRow {
    pub(super) address: String,
    pub(super) tax_number: String,
    pub(super) pay_to: String,
    pub(super) footer: String,
    pub(super) due_days: i32,
    pub(super) invoice_prefix: String,
    pub(super) credit_prefix: String,
    pub(super) tax_rounding: String,
    pub(super) paper: String,
    pub(super) version: i64,
}

pub(super) async fn invoicing(db: impl PgExecutor<'_>) -> Result<InvoicingRow, sqlx::Error> {
    sqlx::query_as("SELECT * FROM invoicing").fetch_one(db).await
}

/// Changes what stands on invoices from now on; says whether nobody else had.
pub(super) async fn change_invoicing(
    conn: &mut PgConnection,
    row: &InvoicingRow,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE invoicing SET address = $1, tax_number = $2, pay_to = $3, footer = $4, due_days = $5,
             invoice_prefix = $6, credit_prefix = $7, tax_rounding = $8, paper = $9, version = version + 1
         WHERE version = $10",
    )
    .bind(&row.address)
    .bind(&row.tax_number)
    .bind(&row.pay_to)
    .bind(&row.footer)
    .bind(row.due_days)
    .bind(&row.invoice_prefix)
    .bind(&row.credit_prefix)
    .bind(&row.tax_rounding)
    .bind(&row.paper)
    .bind(row.version)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The head of a draft.
#[derive(Clone, Debug)]
pub(super) struct NewDraft {
    pub(super) kind: &'static str,
    pub(super) purpose: String,
    pub(super) client: ClientId,
    pub(super) order: Option<OrderId>,
    pub(super) corrects: Option<InvoiceId>,
    pub(super) currency: String,
    pub(super) tax_inclusive: bool,
    pub(super) tax_rounding: String,
    pub(super) due_days: i32,
    pub(super) note: String,
    pub(super) booked: Option<Booked>,
}

/// How a document in another currency is booked in the studio's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Booked {
    /// The studio's currency.
    pub(super) currency: String,
    /// How much of the document's currency one unit of it buys.
    pub(super) rate: Decimal,
    /// The day of the rate.
    pub(super) on: Day,
}

impl Booked {
    /// An amount of the document in the studio's currency, to its smallest unit.
    pub(super) fn of(&self, amount: Decimal) -> Decimal {
        let digits = Currency::by_code(&self.currency).map_or(2, |known| known.minor_digits());
        amount
            .checked_div(self.rate)
            .unwrap_or_default()
            .round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero)
    }
}

pub(super) async fn insert_draft(
    conn: &mut PgConnection,
    draft: &NewDraft,
    person: PersonId,
    now: Moment,
) -> Result<InvoiceId, sqlx::Error> {
    let id = InvoiceId::new();
    sqlx::query(
        "INSERT INTO invoices (id, kind, purpose, client_id, order_id, corrects, currency, tax_inclusive, tax_rounding,
             due_days, note, made_by, made_at, booked_in, booked_rate, booked_on)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)",
    )
    .bind(id)
    .bind(draft.kind)
    .bind(&draft.purpose)
    .bind(draft.client)
    .bind(draft.order)
    .bind(draft.corrects)
    .bind(&draft.currency)
    .bind(draft.tax_inclusive)
    .bind(&draft.tax_rounding)
    .bind(draft.due_days)
    .bind(&draft.note)
    .bind(person)
    .bind(now)
    .bind(draft.booked.as_ref().map(|booked| &booked.currency))
    .bind(draft.booked.as_ref().map(|booked| booked.rate))
    .bind(draft.booked.as_ref().map(|booked| booked.on))
    .execute(conn)
    .await?;
    Ok(id)
}

/// A line as it is kept.
#[derive(Clone, Debug, FromRow)]
pub(crate) struct LineRow {
    pub(crate) words: String,
    pub(crate) quantity: Decimal,
    pub(crate) unit_price: Decimal,
    pub(crate) discount: Decimal,
    pub(crate) amount: Decimal,
    pub(crate) net: Decimal,
    pub(crate) taxes: Json<Vec<TaxAmount>>,
    pub(crate) fixed: bool,
    pub(crate) deducts: Option<InvoiceId>,
}

impl LineRow {
    /// Its taxes as they are typed.
    pub(crate) fn taxes_typed(&self) -> String {
        write_taxes(self.taxes.iter().map(|tax| (tax.name.as_str(), tax.percent)))
    }

    /// The line as it is reckoned again; settled amounts stay.
    pub(super) fn line(&self) -> Line {
        Line {
            words: self.words.clone(),
            quantity: self.quantity,
            unit_price: self.unit_price,
            discount: self.discount,
            taxes: self
                .taxes
                .iter()
                .map(|tax| Tax { name: tax.name.clone(), percent: tax.percent.normalize() })
                .collect(),
            fixed: self.fixed.then(|| Fixed {
                amount: self.amount,
                net: self.net,
                taxes: self.taxes.0.clone(),
            }),
        }
    }
}

pub(crate) async fn lines(
    db: impl PgExecutor<'_>,
    id: InvoiceId,
) -> Result<Vec<LineRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT words, quantity, unit_price, discount, amount, net, taxes, fixed, deducts
         FROM invoice_lines WHERE invoice_id = $1 ORDER BY n",
    )
    .bind(id)
    .fetch_all(db)
    .await
}

/// A line with the deposit invoice it takes off.
pub(super) type Deducting = (Line, Option<InvoiceId>);

/// Puts lines, taxes and totals of a draft in place of those that were there.
pub(super) async fn write_lines(
    conn: &mut PgConnection,
    id: InvoiceId,
    lines: &[Deducting],
    reckoned: &[Reckoned],
    totals: &Totals,
) -> Result<(), sqlx::Error> {
    let booked = booked(&mut *conn, id).await?;
    sqlx::query("DELETE FROM invoice_lines WHERE invoice_id = $1")
        .bind(id)
        .execute(&mut *conn)
        .await?;
    sqlx::query("DELETE FROM invoice_taxes WHERE invoice_id = $1")
        .bind(id)
        .execute(&mut *conn)
        .await?;
    for (n, ((line, deducts), out)) in (1_i32..).zip(lines.iter().zip(reckoned)) {
        sqlx::query(
            "INSERT INTO invoice_lines (invoice_id, n, words, quantity, unit_price, discount, amount, net, gross, taxes,
                 fixed, deducts) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        )
        .bind(id)
        .bind(n)
        .bind(&line.words)
        .bind(line.quantity)
        .bind(line.unit_price)
        .bind(line.discount)
        .bind(out.amount)
        .bind(out.net)
        .bind(out.gross)
        .bind(Json(&out.taxes))
        .bind(line.fixed.is_some())
        .bind(deducts)
        .execute(&mut *conn)
        .await?;
    }
    // The parts are rounded, and the net is what they leave of the rounded total, so that they add up.
    let booked_sums = booked.as_ref().map(|booked| {
        let taxes: Decimal = totals.taxes.iter().map(|tax| booked.of(tax.amount)).sum();
        let total = booked.of(totals.total);
        (total - taxes, total)
    });
    for (n, each) in (1_i32..).zip(&totals.taxes) {
        sqlx::query(
            "INSERT INTO invoice_taxes (invoice_id, n, name, percent, base, amount, booked) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        )
        .bind(id)
        .bind(n)
        .bind(&each.tax.name)
        .bind(each.tax.percent)
        .bind(each.base)
        .bind(each.amount)
        .bind(booked.as_ref().map(|booked| booked.of(each.amount)))
        .execute(&mut *conn)
        .await?;
    }
    sqlx::query(
        "UPDATE invoices SET net = $2, tax = $3, total = $4, booked_net = $5, booked_total = $6, version = version + 1
         WHERE id = $1",
    )
    .bind(id)
    .bind(totals.net)
    .bind(totals.tax)
    .bind(totals.total)
    .bind(booked_sums.map(|(net, _)| net))
    .bind(booked_sums.map(|(_, total)| total))
    .execute(conn)
    .await?;
    Ok(())
}

/// How a document is booked in the studio's currency; none when it is in that itself.
pub(super) async fn booked(
    conn: &mut PgConnection,
    id: InvoiceId,
) -> Result<Option<Booked>, sqlx::Error> {
    let row: Option<(String, Decimal, Day)> = sqlx::query_as(
        "SELECT booked_in::text, booked_rate, booked_on FROM invoices WHERE id = $1 AND booked_in IS NOT NULL",
    )
    .bind(id)
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|(currency, rate, on)| Booked { currency, rate, on }))
}

/// How the last issued document of a client in a currency was booked.
pub(super) async fn last_booked(
    conn: &mut PgConnection,
    client: ClientId,
    currency: &str,
) -> Result<Option<Booked>, sqlx::Error> {
    let row: Option<(String, Decimal, Day)> = sqlx::query_as(
        "SELECT booked_in::text, booked_rate, booked_on FROM invoices
         WHERE client_id = $1 AND currency = $2 AND state = 'issued' AND booked_in IS NOT NULL
         ORDER BY issued_on DESC, number DESC LIMIT 1",
    )
    .bind(client)
    .bind(currency)
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|(currency, rate, on)| Booked { currency, rate, on }))
}

pub(super) async fn change_head(
    conn: &mut PgConnection,
    id: InvoiceId,
    due_days: i32,
    note: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE invoices SET due_days = $2, note = $3 WHERE id = $1")
        .bind(id)
        .bind(due_days)
        .bind(note)
        .execute(conn)
        .await?;
    Ok(())
}

/// Puts a draft in a currency, booked in the studio's or in that itself.
pub(super) async fn change_currency(
    conn: &mut PgConnection,
    id: InvoiceId,
    currency: &str,
    booked: Option<&Booked>,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE invoices SET currency = $2, booked_in = $3, booked_rate = $4, booked_on = $5, booked_net = NULL,
             booked_total = NULL WHERE id = $1",
    )
    .bind(id)
    .bind(currency)
    .bind(booked.map(|booked| &booked.currency))
    .bind(booked.map(|booked| booked.rate))
    .bind(booked.map(|booked| booked.on))
    .execute(conn)
    .await?;
    Ok(())
}

/// An invoice held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Locked {
    pub(super) id: InvoiceId,
    pub(super) kind: String,
    pub(super) state: String,
    pub(super) label: Option<String>,
    pub(super) client_id: ClientId,
    pub(super) order_id: Option<OrderId>,
    pub(super) purpose: String,
    pub(super) corrects: Option<InvoiceId>,
    pub(super) currency: String,
    pub(super) tax_inclusive: bool,
    pub(super) tax_rounding: String,
    pub(super) total: Decimal,
    pub(super) due_days: i32,
    pub(super) version: i64,
}

/// Holds an invoice and the account of its client.
pub(super) async fn lock(conn: &mut PgConnection, id: InvoiceId) -> Result<Locked, sqlx::Error> {
    let client: ClientId = sqlx::query_scalar("SELECT client_id FROM invoices WHERE id = $1")
        .bind(id)
        .fetch_one(&mut *conn)
        .await?;
    lock_account(conn, client).await?;
    sqlx::query_as(
        "SELECT id, kind, state, label, client_id, order_id, purpose, corrects, currency, tax_inclusive, tax_rounding,
             total, due_days, version FROM invoices WHERE id = $1 FOR UPDATE",
    )
    .bind(id)
    .fetch_one(conn)
    .await
}

/// Whatever changes a client's account waits here for its turn.
pub(super) async fn lock_account(
    conn: &mut PgConnection,
    client: ClientId,
) -> Result<(), sqlx::Error> {
    let _: ClientId = sqlx::query_scalar("SELECT id FROM clients WHERE id = $1 FOR UPDATE")
        .bind(client)
        .fetch_one(conn)
        .await?;
    Ok(())
}

/// Issues a draft: it gets its number, and everything that may change elsewhere is written on it.
pub(super) async fn issue(
    conn: &mut PgConnection,
    id: InvoiceId,
    on: Day,
    due: Day,
) -> Result<String, sqlx::Error> {
    sqlx::query_scalar(
        "UPDATE invoices i SET state = 'issued', issued_on = $2, due_on = $3, from_name = s.name,
             from_address = g.address, tax_number = g.tax_number, pay_to = g.pay_to, footer = g.footer,
             to_name = c.name, to_address = c.address
         FROM studio s, invoicing g, clients c WHERE i.id = $1 AND c.id = i.client_id RETURNING i.label",
    )
    .bind(id)
    .bind(on)
    .bind(due)
    .fetch_one(conn)
    .await
}

pub(super) async fn discard(conn: &mut PgConnection, id: InvoiceId) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM invoices WHERE id = $1").bind(id).execute(conn).await?;
    Ok(())
}
