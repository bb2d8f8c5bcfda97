//! Invoices, credit notes and statements on paper.

use super::statement::Statement;
use super::store::LineRow;
use super::view::{ClientRow, InvoiceRow, TaxRow};
use crate::clock::Day;
use crate::paper::{Block, Column, Paper, Size, Table};
use crate::web::Show;

fn lines_of(name: &str, address: &str, more: &str) -> Vec<String> {
    let mut lines = vec![name.to_owned()];
    lines.extend(address.lines().map(str::to_owned));
    if !more.is_empty() {
        lines.push(more.to_owned());
    }
    lines
}

/// An invoice or a credit note as it was issued; a draft says that it is one.
pub(crate) fn invoice(
    invoice: &InvoiceRow,
    lines: &[LineRow],
    taxes: &[TaxRow],
    show: &Show,
    size: Size,
    studio: &str,
) -> Paper {
    let money = |amount| show.money_text(amount, &invoice.currency);
    let draft = invoice.is_draft();
    let from = if draft { studio } else { &invoice.from_name };
    let to = if draft { &invoice.client } else { &invoice.to_name };
    let mut facts = Vec::new();
    if let Some(day) = invoice.issued_on {
        facts.push(("Date".to_owned(), show.day_text(day)));
    }
    if let Some(number) = invoice.order_number {
        facts.push(("Order".to_owned(), number.to_string()));
    }
    if let Some(label) = &invoice.corrects_label {
        facts.push(("Puts right".to_owned(), format!("Invoice {label}")));
    }
    if let Some(day) = invoice.due_on.filter(|_| !invoice.is_credit()) {
        facts.push(("To be paid by".to_owned(), show.day_text(day)));
    }
    let mut blocks = vec![Block::Parties {
        left: lines_of(from, &invoice.from_address, &invoice.tax_number),
        right: lines_of(to, &invoice.to_address, ""),
    }];
    if !facts.is_empty() {
        blocks.push(Block::Facts(facts));
    }
    blocks.push(Block::Table(line_table(invoice, lines, show)));
    let mut sums = vec![("Net".to_owned(), money(invoice.net))];
    sums.extend(taxes.iter().map(|tax| {
        let name = format!("{} {} % on {}", tax.name, tax.percent.normalize(), money(tax.base));
        (name, money(tax.amount))
    }));
    let total = if invoice.is_credit() { "Credited" } else { "To pay" };
    sums.push((total.to_owned(), money(invoice.total)));
    blocks.push(Block::Sums(sums));
    if let Some(words) = invoice.booked_words(show) {
        blocks.push(Block::Small(words));
    }
    if !taxes.is_empty() {
        blocks.push(Block::Small(invoice.tax_rule()));
    }
    if !invoice.note.is_empty() {
        blocks.push(Block::Text(invoice.note.clone()));
    }
    if !invoice.pay_to.is_empty() && !invoice.is_credit() {
        blocks.push(Block::Text(invoice.pay_to.clone()));
    }
    if !invoice.footer.is_empty() {
        blocks.push(Block::Small(invoice.footer.clone()));
    }
    Paper { size, studio: from.to_owned(), title: invoice.title(), blocks }
}

fn line_table(invoice: &InvoiceRow, lines: &[LineRow], show: &Show) -> Table {
    let discounts = lines.iter().any(|line| !line.discount.is_zero());
    let mut columns = vec![
        Column::words("What", 3.4),
        Column::figures("Quantity", 0.9),
        Column::figures("Price", 1.5),
    ];
    if discounts {
        columns.push(Column::figures("Less", 1.3));
    }
    columns.push(Column::words("Taxes", 1.3));
    columns.push(Column::figures("Amount", 1.5));
    let rows = lines
        .iter()
        .map(|line| {
            let mut cells = vec![
                line.words.clone(),
                line.quantity.normalize().to_string(),
                show.money_exact_text(line.unit_price, &invoice.currency),
            ];
            if discounts {
                cells.push(if line.discount.is_zero() {
                    String::new()
                } else {
                    show.money_text(line.discount, &invoice.currency)
                });
            }
            cells.push(line.taxes_typed());
            cells.push(show.money_text(line.amount, &invoice.currency));
            cells
        })
        .collect();
    Table { columns, rows }
}

/// A client's statement over a time.
pub(crate) fn statement(
    client: &ClientRow,
    statements: &[Statement],
    (from, to): (Option<Day>, Day),
    show: &Show,
    size: Size,
    (studio, address): (&str, &str),
) -> Paper {
    let time = match from {
        Some(from) => format!("{} to {}", show.day_text(from), show.day_text(to)),
        None => format!("up to {}", show.day_text(to)),
    };
    let mut blocks = vec![
        Block::Parties {
            left: lines_of(studio, address, ""),
            right: lines_of(&client.name, &client.address, ""),
        },
        Block::Facts(vec![("Time".to_owned(), time)]),
    ];
    for statement in statements {
        if statements.len() > 1 {
            blocks.push(Block::Heading(format!("In {}", statement.currency)));
        }
        let money = |amount| show.money_text(amount, &statement.currency);
        let mut rows = Vec::new();
        if let Some(from) = from {
            let day = show.day_text(from);
            let balance = money(statement.opening);
            rows.push(vec![
                day,
                "Brought forward".to_owned(),
                String::new(),
                String::new(),
                balance,
            ]);
        }
        rows.extend(statement.steps.iter().map(|step| {
            let amount = money(step.entry.amount);
            let (debit, credit) =
                if step.entry.debit { (amount, String::new()) } else { (String::new(), amount) };
            let day = show.day_text(step.entry.on_day);
            vec![day, step.entry.words(), debit, credit, money(step.balance)]
        }));
        let columns = vec![
            Column::words("Day", 1.3),
            Column::words("What", 2.6),
            Column::figures("Invoiced", 1.5),
            Column::figures("Paid", 1.5),
            Column::figures("Balance", 1.5),
        ];
        blocks.push(Block::Table(Table { columns, rows }));
        let owes = statement.closing.is_sign_negative() && !statement.closing.is_zero();
        let who = if owes { "Owed to you" } else { "Still to be paid" };
        blocks.push(Block::Sums(vec![(who.to_owned(), money(statement.closing.abs()))]));
    }
    Paper {
        size,
        studio: studio.to_owned(),
        title: format!("Statement for {}", client.name),
        blocks,
    }
}
