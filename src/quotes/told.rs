//! How what a client pays follows from the prices of the lines: each amount on their page opens
//! into others that stand there too, and into nothing of what it costs the studio. No SQL.

use foundry::quantity::{Currency, Money};
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;

use super::content::{Content, Line, TaxSum};
use crate::web::{Html, Show, working_of};

/// What an amount is that the quote says and that nothing on the page leads to.
const QUOTED: &str = "as it was quoted";

impl Content {
    fn sum(&self, name: impl Into<String>, amount: Decimal) -> Figure {
        Figure::exact(name.into(), amount, self.currency.clone(), Source::Computed)
    }

    fn opening(&self, amount: Decimal, working: &Working, show: &Show) -> Html {
        working_of(&show.money_in(amount, &self.currency), working)
    }

    fn each_line(&self, pick: impl Fn(&Line) -> Decimal) -> Vec<Figure> {
        let with_something = self.lines.iter().filter(|line| !pick(line).is_zero());
        with_something.map(|line| self.sum(line.name.clone(), pick(line))).collect()
    }

    /// The price of a line: from that of a piece to what it comes to with discount and tax.
    #[must_use]
    pub fn told_line(&self, line: &Line, show: &Show) -> Html {
        let (mut working, of) = (Working::default(), &line.amounts);
        let price = self.sum("price", of.list);
        match line.unit_price {
            Some(each) if line.n > 0 && each * Decimal::from(line.quantity) == of.list => {
                let pieces = i64::from(line.quantity);
                let inputs = vec![
                    Figure::count("pieces", pieces, "", Source::Entered),
                    self.sum("price of one", each),
                ];
                working.step("pieces × price of one", inputs, price)
            }
            _ => working.step(QUOTED, Vec::new(), price),
        };
        let after = of.list - of.discount;
        if !of.discount.is_zero() {
            let inputs = vec![self.sum("price", of.list), self.sum("discount", of.discount)];
            working.step("price − discount", inputs, self.sum("price after discount", after));
        }
        if !of.tax.is_zero() {
            let tax = self.tax_of(line);
            let from = if of.discount.is_zero() { "price" } else { "price after discount" };
            let rate = Figure::exact(tax.name.clone(), tax.percent, "%", Source::Entered);
            let formula = match (self.tax_inclusive, self.tax_on_total) {
                (_, true) => "its share of the tax of all lines, which is rounded once",
                (true, false) => "price − price × 100 ÷ (100 + rate), rounded",
                (false, false) => "price × rate ÷ 100, rounded",
            };
            let inputs = vec![self.sum(from, after), rate];
            working.step(formula, inputs, self.sum(tax.name, of.tax));
        }
        self.opening(of.list, &working, show)
    }

    /// What is taken off the prices.
    #[must_use]
    pub fn told_discount(&self, show: &Show) -> Html {
        let mut working = Working::default();
        let each = self.each_line(|line| line.amounts.discount);
        working.step("sum of the lines", each, self.sum("discount", self.totals.discount));
        self.opening(self.totals.discount, &working, show)
    }

    /// Adds how the sum of the prices less the discount is reached.
    fn prices(&self, working: &mut Working, name: &'static str, amount: Decimal) {
        let mut inputs = self.each_line(|line| line.amounts.list);
        let formula = if self.totals.discount.is_zero() {
            "sum of the lines"
        } else {
            inputs.push(self.sum("discount", self.totals.discount));
            "sum of the lines − discount"
        };
        working.step(formula, inputs, self.sum(name, amount));
    }

    /// The sum without taxes that come on top.
    #[must_use]
    pub fn told_net(&self, show: &Show) -> Html {
        let mut working = Working::default();
        self.prices(&mut working, "net", self.totals.net);
        self.opening(self.totals.net, &working, show)
    }

    /// What the lines of a tax come to.
    #[must_use]
    pub fn told_tax(&self, sum: &TaxSum, show: &Show) -> Html {
        let mut working = Working::default();
        let of_it = |line: &Line| self.tax_of(line) == sum.tax;
        let each =
            self.each_line(|line| if of_it(line) { line.amounts.tax } else { Decimal::ZERO });
        let name = format!("{} {} %", sum.tax.name, sum.tax.percent.normalize());
        working.step("sum of the tax of the lines", each, self.sum(name, sum.amount));
        self.opening(sum.amount, &working, show)
    }

    /// What is to be paid.
    #[must_use]
    pub fn told_total(&self, show: &Show) -> Html {
        let (mut working, totals) = (Working::default(), &self.totals);
        if self.tax_inclusive || totals.tax.is_zero() {
            self.prices(&mut working, "total", totals.gross);
        } else {
            let mut inputs = vec![self.sum("net", totals.net)];
            inputs.extend(self.by_tax().into_iter().map(|sum| {
                let name = format!("{} {} %", sum.tax.name, sum.tax.percent.normalize());
                self.sum(name, sum.amount)
            }));
            working.step("net + taxes", inputs, self.sum("total", totals.gross));
        }
        self.opening(totals.gross, &working, show)
    }

    /// What is paid before work begins.
    #[must_use]
    pub fn told_deposit(&self, show: &Show) -> Html {
        let (mut working, percent) = (Working::default(), self.inputs.deposit_percent);
        let share = Currency::by_code(&self.currency)
            .ok()
            .zip(self.totals.gross.checked_mul(percent * Decimal::new(1, 2)))
            .map(|(currency, share)| Money::new(share, currency).rounded().amount());
        let deposit = self.sum("deposit", self.deposit);
        if share == Some(self.deposit) {
            let inputs = vec![
                self.sum("total", self.totals.gross),
                Figure::exact("deposit", percent.normalize(), "%", Source::Entered),
            ];
            working.step("total × deposit ÷ 100, rounded", inputs, deposit);
        } else {
            working.step(QUOTED, Vec::new(), deposit);
        }
        self.opening(self.deposit, &working, show)
    }

    /// What is paid when the work is done.
    #[must_use]
    pub fn told_balance(&self, show: &Show) -> Html {
        let mut working = Working::default();
        let inputs = vec![self.sum("total", self.totals.gross), self.sum("deposit", self.deposit)];
        working.step("total − deposit", inputs, self.sum("the rest", self.balance));
        self.opening(self.balance, &working, show)
    }
}
