//! How the totals of a quote follow from its lines, so that each of them opens. No SQL.

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;

use super::choices::Choice;
use super::content::{Amounts, Content, Line, TaxSum, by_tax};
use crate::json::working::WorkingJson;
use crate::web::{Html, Show, working};

/// What the totals are reached from.
pub(super) struct Totals<'a> {
    pub(super) lines: &'a [Line],
    pub(super) totals: &'a Amounts,
    pub(super) taxes: &'a [TaxSum],
    /// Of the total, in per cent; none where the deposit stays as it was quoted.
    pub(super) deposit_percent: Option<Decimal>,
    pub(super) deposit: Decimal,
    pub(super) balance: Decimal,
    pub(super) currency: &'a str,
}

impl Totals<'_> {
    fn money(&self, name: impl Into<String>, amount: Decimal) -> Figure {
        Figure::exact(name.into(), amount, self.currency.to_owned(), Source::Computed)
    }

    /// The steps from the lines to what is to be paid.
    pub(super) fn working(&self) -> Working {
        let mut working = Working::default();
        let totals = self.totals;
        self.sum(&mut working, "overhead", |of| of.overhead, totals.overhead);
        self.sum(&mut working, "cost", |of| of.cost, totals.cost);
        self.sum(&mut working, "prices", |of| of.list, totals.list);
        if !totals.discount.is_zero() {
            self.sum(&mut working, "discount", |of| of.discount, totals.discount);
        }
        self.sum(&mut working, "net", |of| of.net, totals.net);
        self.sum(&mut working, "tax", |of| of.tax, totals.tax);
        if self.taxes.len() > 1 {
            for each in self.taxes {
                let rate =
                    Figure::exact(each.tax.name.clone(), each.tax.percent, "%", Source::Entered);
                working.step(
                    "sum of the lines of this tax",
                    vec![rate, self.money("net", each.net)],
                    self.money(format!("{} of them", each.tax.name), each.amount),
                );
            }
        }
        self.sum(&mut working, "to pay", |of| of.gross, totals.gross);
        let gross = || self.money("to pay", totals.gross);
        let deposit = self.money("deposit", self.deposit);
        match self.deposit_percent {
            Some(percent) => {
                let share = Figure::exact("deposit", percent, "%", Source::Entered);
                working.step("to pay × deposit ÷ 100, rounded", vec![gross(), share], deposit)
            }
            None => working.step("as it was quoted", vec![], deposit),
        };
        working.step(
            "to pay − deposit",
            vec![gross(), self.money("deposit", self.deposit)],
            self.money("balance", self.balance),
        );
        working.step(
            "net − cost",
            vec![self.money("net", totals.net), self.money("cost", totals.cost)],
            self.money("earned", totals.earned),
        );
        working
    }

    fn sum(&self, working: &mut Working, what: &str, pick: fn(&Amounts) -> Decimal, sum: Decimal) {
        let each = self.lines.iter();
        let each = each.map(|line| self.money(line.name.clone(), pick(&line.amounts))).collect();
        working.step("sum of the lines", each, self.money(what, sum));
    }
}

/// A figure that opens into the step which a total is the result of.
fn opened(figure: Html, steps: &WorkingJson, what: &str) -> Html {
    match steps.steps.iter().rfind(|step| step.result.name == what) {
        Some(step) => {
            working(&figure, &WorkingJson { steps: vec![step.clone()], warnings: Vec::new() })
        }
        None => figure,
    }
}

impl Choice {
    /// A total of this way as a figure that opens into the step it comes from.
    pub(super) fn opened(&self, what: &str, amount: Decimal, show: &Show, currency: &str) -> Html {
        opened(show.money_in(amount, currency), &self.working, what)
    }
}

impl Content {
    /// A total as a figure that opens into the step it comes from; `what` names it as the steps do.
    pub(super) fn opened(&self, what: &str, amount: Decimal, show: &Show) -> Html {
        opened(show.money_in(amount, &self.currency), &self.working, what)
    }

    /// What the lines of a tax come to, as a figure that opens.
    pub(super) fn opened_tax(&self, sum: &TaxSum, show: &Show) -> Html {
        let of_them = format!("{} of them", sum.tax.name);
        let what = if self.taxes_differ() { of_them.as_str() } else { "tax" };
        self.opened(what, sum.amount, show)
    }

    /// Reaches the totals anew from the lines as they are now; the deposit stays.
    pub(super) fn retotal(&mut self) {
        let taxes = by_tax(&self.lines, |line| self.tax_of(line));
        let steps = Totals {
            lines: &self.lines,
            totals: &self.totals,
            taxes: &taxes,
            deposit_percent: None,
            deposit: self.deposit,
            balance: self.balance,
            currency: &self.currency,
        };
        let fresh = WorkingJson::from(&steps.working());
        self.working =
            WorkingJson { warnings: std::mem::take(&mut self.working.warnings), ..fresh };
    }
}
