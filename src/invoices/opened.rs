//! How the amounts of an invoice follow from each other, so that each of them opens. No SQL.

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;

use super::store::LineRow;
use super::view::{InvoiceRow, SettledRow, TaxRow};
use crate::web::Show;

/// A document with its lines, whose amounts are opened.
pub(super) struct Opened<'a> {
    pub(super) invoice: &'a InvoiceRow,
    pub(super) lines: &'a [LineRow],
}

impl Opened<'_> {
    fn money(&self, name: impl Into<String>, amount: Decimal) -> Figure {
        let currency = self.invoice.currency.clone();
        Figure::exact(name.into(), amount, currency, Source::Computed)
    }

    fn typed(&self, name: &'static str, amount: Decimal) -> Figure {
        Figure::exact(name, amount, self.invoice.currency.clone(), Source::Entered)
    }

    /// A line: its amount, its taxes, and what is without them.
    pub(super) fn line(&self, line: &LineRow) -> Working {
        let mut working = Working::default();
        if line.fixed {
            let from = if line.deducts.is_some() {
                "what the earlier invoice says, taken off"
            } else if self.invoice.is_credit() {
                "as on the invoice that is put right"
            } else {
                "as agreed in the quote"
            };
            working.step(from, Vec::new(), self.money("amount", line.amount));
        } else {
            let mut inputs = vec![
                Figure::exact("quantity", line.quantity, "", Source::Entered),
                self.typed("price of one", line.unit_price),
            ];
            let formula = if line.discount.is_zero() {
                "quantity × price of one, rounded"
            } else {
                inputs.push(self.typed("less", line.discount));
                "quantity × price of one, rounded − less"
            };
            working.step(formula, inputs, self.money("amount", line.amount));
        }
        let inclusive = self.invoice.tax_inclusive;
        for tax in line.taxes.iter() {
            let inputs = vec![
                self.money("amount", line.amount),
                Figure::exact(tax.name.clone(), tax.percent.normalize(), "%", Source::Entered),
            ];
            working.step(self.tax_formula(line), inputs, self.money(tax.name.clone(), tax.amount));
        }
        if inclusive && !line.taxes.is_empty() {
            let mut inputs = vec![self.money("amount", line.amount)];
            inputs.extend(line.taxes.iter().map(|tax| self.money(tax.name.clone(), tax.amount)));
            working.step("amount − taxes in it", inputs, self.money("net", line.net));
        }
        working
    }

    /// How a tax of a line is reckoned.
    fn tax_formula(&self, line: &LineRow) -> &'static str {
        let on_document = self.invoice.tax_rounding == "document";
        match (line.fixed, self.invoice.tax_inclusive, on_document) {
            (true, ..) => "as agreed there",
            (_, true, false) => "amount ÷ (100 + rates) × rate, rounded",
            (_, false, false) => "amount × rate ÷ 100, rounded",
            (_, _, true) => "its share of the tax of all lines, which is rounded once",
        }
    }

    fn sum(&self, result: Figure, pick: impl Fn(&LineRow) -> Option<Decimal>) -> Working {
        let mut working = Working::default();
        let each = self
            .lines
            .iter()
            .filter_map(|line| pick(line).map(|amount| self.money(line.words.clone(), amount)));
        working.step("sum of the lines", each.collect(), result);
        working
    }

    /// The lines without taxes.
    pub(super) fn net(&self) -> Working {
        self.sum(self.money("net", self.invoice.net), |line| Some(line.net))
    }

    /// What one tax comes to.
    pub(super) fn tax(&self, tax: &TaxRow) -> Working {
        self.sum(self.money(tax.name.clone(), tax.amount), |line| {
            let its = line.taxes.iter().filter(|each| {
                each.name == tax.name && each.percent.normalize() == tax.percent.normalize()
            });
            its.map(|each| each.amount).reduce(|sum, more| sum + more)
        })
    }

    /// Net and taxes together.
    pub(super) fn total(&self, taxes: &[TaxRow]) -> Working {
        let mut working = Working::default();
        let mut inputs = vec![self.money("net", self.invoice.net)];
        inputs.extend(taxes.iter().map(|tax| self.money(tax.name.clone(), tax.amount)));
        working.step("net + taxes", inputs, self.money("total", self.invoice.total));
        working
    }

    /// The total from the lines on, where net and taxes do not stand beside it.
    pub(super) fn total_of_lines(&self, taxes: &[TaxRow]) -> Working {
        let mut working = self.net();
        for tax in taxes {
            working.follow(self.tax(tax));
        }
        working.follow(self.total(taxes));
        working
    }

    /// What is still open of it, less each that was paid for it or that it was used for.
    pub(super) fn open(&self, settled: &[SettledRow], show: &Show) -> Working {
        let (invoice, mut working) = (self.invoice, Working::default());
        let formula = if invoice.is_credit() { "total − used" } else { "total − paid" };
        let mut inputs = vec![self.money("total", invoice.total)];
        if settled.is_empty() {
            let nothing = if invoice.is_credit() { "used" } else { "paid" };
            inputs.push(self.money(nothing, Decimal::ZERO));
        }
        inputs.extend(settled.iter().map(|row| {
            let words = format!("{} of {}", row.kind.replace('_', " "), show.day_text(row.on_day));
            self.money(words, row.amount)
        }));
        working.step(formula, inputs, self.money("open", invoice.open()));
        working
    }
}
