//! What people type about invoices and payments.

use foundry::quantity::Currency;
use rust_decimal::Decimal;

use super::model::{Line, read_taxes};
use super::store::{Deducting, InvoicingRow, LineRow};
use crate::clock::Day;
use crate::id::InvoiceId;
use crate::web::Form;

/// The most lines that a document can have.
pub(super) const MOST_LINES: usize = 200;
/// Empty lines offered below those that are there.
const SPARE_LINES: usize = 2;

fn most() -> Decimal {
    Decimal::from(1_000_000_000)
}

/// A draft as typed, checked.
#[derive(Clone, Debug)]
pub(super) struct DraftForm {
    pub(super) due_days: i32,
    pub(super) note: String,
    pub(super) lines: Vec<Deducting>,
    /// In which currency and at which rate, where the form asks that.
    pub(super) abroad: Option<Abroad>,
}

/// The currency of a draft as typed, with its rate.
#[derive(Clone, Debug)]
pub(super) struct Abroad {
    pub(super) currency: Currency,
    /// How much of it one unit of the studio's buys; that of the price book when none was typed.
    pub(super) rate: Option<Decimal>,
    pub(super) on: Option<Day>,
    /// That the prices of the lines are meant in another currency than before.
    pub(super) meant: bool,
}

impl Abroad {
    /// Reads it; without its fields everything stays as it is.
    fn read(form: &mut Form, held: Currency, today: Day) -> Option<Self> {
        let asked = form.all("rate").next().is_some();
        if !asked {
            return None;
        }
        let typed = form.value("currency").trim().to_uppercase();
        let currency = match typed.as_str() {
            "" => Ok(held),
            code => Currency::by_code(code),
        };
        let currency = match currency {
            Ok(currency) => currency,
            Err(why) => {
                form.wrong("currency", format!("{why}."));
                return None;
            }
        };
        let rate = match form.value("rate").trim() {
            "" => None,
            _ => form.decimal("rate", Decimal::new(1, 10), most(), 10),
        };
        let on = form.day_or_none("rate_on");
        if on.is_some_and(|on| on > today) {
            form.wrong("rate_on", "This day has not come yet; a rate is of today or before.");
        }
        Some(Self { currency, rate, on, meant: form.ticked("currency_meant") })
    }
}

/// The names of the fields of one line.
#[derive(Clone, Debug)]
pub(crate) struct Names {
    pub(crate) words: String,
    pub(crate) quantity: String,
    pub(crate) price: String,
    pub(crate) discount: String,
    pub(crate) tax: String,
}

impl Names {
    pub(super) fn of(n: usize) -> Self {
        let name = |field: &str| format!("{field}-{n}");
        Self {
            words: name("words"),
            quantity: name("quantity"),
            price: name("price"),
            discount: name("discount"),
            tax: name("tax"),
        }
    }
}

/// A draft as its form shows it.
pub(super) fn filled(rows: &[LineRow], due_days: i32, note: &str, tax: &str) -> Form {
    let mut form = Form::filled([("due_days", due_days.to_string()), ("note", note.to_owned())]);
    let shown = (rows.len() + SPARE_LINES).min(MOST_LINES);
    form.put("rows", &shown.to_string());
    for n in 1..=shown {
        let names = Names::of(n);
        match rows.get(n - 1) {
            Some(row) => {
                form.put(&names.words, &row.words);
                form.put(&names.quantity, &row.quantity.normalize().to_string());
                form.put(&names.price, &row.unit_price.normalize().to_string());
                form.put(&names.discount, &row.discount.normalize().to_string());
                form.put(&names.tax, &row.taxes_typed());
            }
            None => {
                form.put(&names.quantity, "1");
                form.put(&names.discount, "0");
                form.put(&names.tax, tax);
            }
        }
    }
    form
}

impl DraftForm {
    /// Reads the form. A line that stands as it was keeps its settled amounts; one without words
    /// and price is left out.
    pub(super) fn read(
        form: &mut Form,
        kept: &[LineRow],
        held: Currency,
        today: Day,
    ) -> Option<Self> {
        let abroad = Abroad::read(form, held, today);
        let currency = abroad.as_ref().map_or(held, |abroad| abroad.currency);
        let due_days = form.whole("due_days", 0, 365);
        let note = form.text("note", 2000);
        let rows = form.value("rows").parse::<usize>().unwrap_or(0).min(MOST_LINES);
        let mut lines = Vec::new();
        for n in 1..=rows {
            let names = Names::of(n);
            if form.value(&names.words).trim().is_empty()
                && form.value(&names.price).trim().is_empty()
            {
                continue;
            }
            if let Some(line) = read_line(form, &names, currency) {
                lines.push(match kept.get(n - 1) {
                    Some(row) if same(row, &line) => (row.line(), row.deducts),
                    Some(row) => (line, row.deducts),
                    None => (line, None),
                });
            }
        }
        form.good().then_some(())?;
        Some(Self { due_days: i32::try_from(due_days?).ok()?, note, lines, abroad })
    }
}

fn same(row: &LineRow, line: &Line) -> bool {
    row.words == line.words
        && row.quantity == line.quantity
        && row.unit_price == line.unit_price
        && row.discount == line.discount
        && row.line().taxes == line.taxes
}

fn read_line(form: &mut Form, names: &Names, currency: Currency) -> Option<Line> {
    let words = form.needed(&names.words, 500);
    let quantity = form.decimal(&names.quantity, -most(), most(), 4);
    let unit_price = form.decimal(&names.price, -most(), most(), 6);
    let discount = form.decimal(&names.discount, -most(), most(), currency.minor_digits());
    let taxes = match read_taxes(&form.line(&names.tax, 200)) {
        Ok(taxes) => taxes,
        Err(message) => {
            form.wrong(&names.tax, message);
            return None;
        }
    };
    Some(Line {
        words,
        quantity: quantity?,
        unit_price: unit_price?,
        discount: discount?,
        taxes,
        fixed: None,
    })
}

/// An amount that changed hands.
#[derive(Clone, Debug)]
pub(super) struct Money {
    pub(super) amount: Decimal,
    pub(super) currency: String,
    pub(super) on: Day,
    pub(super) method: String,
    pub(super) reference: String,
    /// What it was in the studio's currency, when it was in another and that was typed.
    pub(super) booked: Option<Decimal>,
}

impl Money {
    pub(super) fn read(
        form: &mut Form,
        currency: Currency,
        own: Currency,
        today: Day,
    ) -> Option<Self> {
        let digits = currency.minor_digits();
        let amount = form.decimal("amount", Decimal::new(1, digits), most(), digits);
        let on = form.day("on");
        if on.is_some_and(|on| on > today) {
            form.wrong("on", "This day has not come yet.");
        }
        let booked = match form.value("booked").trim() {
            "" => None,
            _ if currency == own => {
                form.wrong(
                    "booked",
                    format!("The amount is in {} itself; leave this empty.", own.code()),
                );
                None
            }
            _ => {
                let digits = own.minor_digits();
                form.decimal("booked", Decimal::new(1, digits), most(), digits)
            }
        };
        let method = form.line("method", 60);
        let reference = form.line("reference", 200);
        form.good().then_some(())?;
        Some(Self {
            amount: amount?,
            currency: currency.code().to_owned(),
            on: on?,
            method,
            reference,
            booked,
        })
    }
}

/// A payment as typed, checked.
#[derive(Clone, Debug)]
pub(super) struct PaymentForm {
    pub(super) money: Money,
    /// What it pays for; the oldest first when none.
    pub(super) invoice: Option<InvoiceId>,
    /// That it is more than is owed was seen.
    pub(super) sure: bool,
}

impl PaymentForm {
    pub(super) fn read(
        form: &mut Form,
        currency: Currency,
        own: Currency,
        today: Day,
    ) -> Option<Self> {
        let invoice = if form.value("invoice").is_empty() { None } else { form.choice("invoice") };
        let money = Money::read(form, currency, own, today)?;
        Some(Self { money, invoice, sure: form.is_sure() })
    }
}

/// Reads what stands on invoices from now on.
pub(super) fn read_invoicing(form: &mut Form) -> Option<InvoicingRow> {
    let row = InvoicingRow {
        address: form.text("address", 1000),
        tax_number: form.line("tax_number", 100),
        pay_to: form.text("pay_to", 1000),
        footer: form.text("footer", 1000),
        due_days: form
            .whole("due_days", 0, 365)
            .and_then(|days| i32::try_from(days).ok())
            .unwrap_or(0),
        invoice_prefix: form.line("invoice_prefix", 20),
        credit_prefix: form.line("credit_prefix", 20),
        tax_rounding: form.value("tax_rounding").to_owned(),
        paper: form.value("paper").to_owned(),
        version: form.version(),
    };
    if !["line", "document"].contains(&row.tax_rounding.as_str()) {
        form.wrong("tax_rounding", "Choose one of these.");
    }
    if !["a4", "letter"].contains(&row.paper.as_str()) {
        form.wrong("paper", "Choose one of these.");
    }
    if row.invoice_prefix == row.credit_prefix {
        form.wrong(
            "credit_prefix",
            "Credit notes need a beginning of their own, or two papers have one number.",
        );
    }
    form.good().then_some(row)
}
