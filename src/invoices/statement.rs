//! A client's statement: what was invoiced and paid, with the balance after each entry.

use rust_decimal::Decimal;

use super::view::EntryRow;
use crate::clock::Day;

/// An entry with the balance after it.
#[derive(Clone, Debug)]
pub(crate) struct Step {
    pub(crate) entry: EntryRow,
    pub(crate) balance: Decimal,
}

/// The statement in one currency. A balance above nothing is owed by the client.
#[derive(Clone, Debug)]
pub(crate) struct Statement {
    pub(crate) currency: String,
    pub(crate) opening: Decimal,
    pub(crate) steps: Vec<Step>,
    pub(crate) closing: Decimal,
    /// Invoices and refunds that are not paid.
    pub(crate) owed: Decimal,
    /// Payments and credit notes that pay for nothing yet.
    pub(crate) credit: Decimal,
}

impl Statement {
    fn new(currency: &str) -> Self {
        Self {
            currency: currency.to_owned(),
            opening: Decimal::ZERO,
            steps: Vec::new(),
            closing: Decimal::ZERO,
            owed: Decimal::ZERO,
            credit: Decimal::ZERO,
        }
    }
}

/// Makes the statements of an account from its entries, which come by currency and day.
/// Without an entry there is one of nothing, in `usual`.
pub(crate) fn of(entries: Vec<EntryRow>, from: Option<Day>, usual: &str) -> Vec<Statement> {
    let mut statements: Vec<Statement> = Vec::new();
    for entry in entries {
        if statements.last().is_none_or(|last| last.currency != entry.currency) {
            statements.push(Statement::new(&entry.currency));
        }
        let Some(statement) = statements.last_mut() else { continue };
        statement.closing += entry.signed();
        if entry.debit {
            statement.owed += entry.open;
        } else {
            statement.credit += entry.open;
        }
        if from.is_some_and(|from| entry.on_day < from) {
            statement.opening = statement.closing;
        } else {
            statement.steps.push(Step { balance: statement.closing, entry });
        }
    }
    if statements.is_empty() {
        statements.push(Statement::new(usual));
    }
    statements
}
