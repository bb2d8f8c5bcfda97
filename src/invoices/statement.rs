//! A client's statement: what was invoiced and paid, with the balance after each entry.

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;

use super::view::EntryRow;
use crate::clock::Day;
use crate::web::Show;

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
    /// Invoiced and paid before the first step.
    before: [Decimal; 2],
    /// What of each entry is open, those before the first step too.
    open: Vec<EntryRow>,
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
            before: [Decimal::ZERO; 2],
            open: Vec::new(),
            steps: Vec::new(),
            closing: Decimal::ZERO,
            owed: Decimal::ZERO,
            credit: Decimal::ZERO,
        }
    }
}

/// How each balance follows from the entries, so that it opens.
impl Statement {
    fn money(&self, name: impl Into<String>, amount: Decimal) -> Figure {
        Figure::exact(name.into(), amount, self.currency.clone(), Source::Computed)
    }

    /// The balance after a step.
    pub(crate) fn balance(&self, step: &Step) -> Working {
        let (entry, mut working) = (&step.entry, Working::default());
        let formula = if entry.debit { "balance before + this" } else { "balance before − this" };
        let inputs = vec![
            self.money("balance before", step.balance - entry.signed()),
            self.money(entry.words(), entry.amount),
        ];
        working.step(formula, inputs, self.money("balance", step.balance));
        working
    }

    /// What is brought forward.
    pub(crate) fn brought(&self) -> Working {
        let mut working = Working::default();
        let [invoiced, paid] = self.before;
        let inputs = vec![self.money("invoiced before", invoiced), self.money("paid before", paid)];
        working.step("invoiced − paid", inputs, self.money("brought forward", self.opening));
        working
    }

    /// What is owed, or what of the client's money pays for nothing yet, entry by entry.
    pub(crate) fn still_open(&self, debit: bool, show: &Show) -> Working {
        let mut working = Working::default();
        let each = self.open.iter().filter(|entry| entry.debit == debit);
        let inputs = each
            .map(|entry| {
                let words = format!("{}, {}", entry.words(), show.day_text(entry.on_day));
                self.money(words, entry.open)
            })
            .collect();
        let (name, sum) = if debit { ("open", self.owed) } else { ("not used", self.credit) };
        working.step("sum of what is open of each", inputs, self.money(name, sum));
        working
    }

    /// What is owed in the end: by the entries, and by what is open of them.
    pub(crate) fn ending(&self) -> Working {
        let mut working = Working::default();
        let of = |debit: bool| -> Decimal {
            let each = self.steps.iter().filter(|step| step.entry.debit == debit);
            each.map(|step| step.entry.amount).sum()
        };
        let owed = || self.money("the client owes", self.closing);
        let inputs = vec![
            self.money("brought forward", self.opening),
            self.money("invoiced", of(true)),
            self.money("paid", of(false)),
        ];
        working.step("brought forward + invoiced − paid", inputs, owed());
        let inputs = vec![
            self.money("invoices open", self.owed),
            self.money("credit, not used", self.credit),
        ];
        working.step("invoices open − credit", inputs, owed());
        working
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
        if !entry.open.is_zero() {
            statement.open.push(entry.clone());
        }
        if from.is_some_and(|from| entry.on_day < from) {
            statement.opening = statement.closing;
            statement.before[usize::from(!entry.debit)] += entry.amount;
        } else {
            statement.steps.push(Step { balance: statement.closing, entry });
        }
    }
    if statements.is_empty() {
        statements.push(Statement::new(usual));
    }
    statements
}
