//! Everything that is wrong with a quote before it is priced.

use rust_decimal::Decimal;

use crate::quantity::{Currency, Money};

use super::component::{Component, Factor};
use super::{Discount, Margin, Percent, QuoteFault, QuoteInput, QuoteLine};

const ALL: Decimal = Decimal::ONE_HUNDRED;

/// All faults of the input, in the order in which it is read.
pub(super) fn faults_of(input: &QuoteInput) -> Vec<QuoteFault> {
    let mut faults = Vec::new();
    if input.lines.is_empty() {
        faults.push(QuoteFault::NoLines);
    }
    for line in &input.lines {
        check_line(line, input.currency, &mut faults);
    }
    check_rate("the overhead", input.overhead, None, &mut faults);
    match input.margin {
        Margin::OfNetPrice(share) => {
            check_rate("the margin", share, Some(Limit::Below100), &mut faults);
        }
        Margin::MarkupOnCost(share) => check_rate("the markup", share, None, &mut faults),
    }
    match input.discount {
        Discount::None => {}
        Discount::Share(share) => {
            check_rate("the discount", share, Some(Limit::AtMost100), &mut faults);
        }
        Discount::Amount(amount) => {
            check_currency("the discount", amount, input.currency, &mut faults);
        }
    }
    let own = input.lines.iter().filter_map(|line| line.tax.as_ref()).map(|class| class.rate);
    for rate in std::iter::once(input.tax.rate()).chain(own) {
        check_rate("the tax", rate, Some(Limit::AtMost100), &mut faults);
    }
    check_rate("the deposit", input.deposit, Some(Limit::AtMost100), &mut faults);
    faults
}

fn check_line(line: &QuoteLine, currency: Currency, faults: &mut Vec<QuoteFault>) {
    if line.quantity == 0 {
        faults.push(QuoteFault::NoPieces { line: short(&line.name) });
    }
    if line.quantity.checked_add(line.spares).is_none() {
        faults.push(QuoteFault::TooLarge);
    }
    if line.components.is_empty() {
        faults.push(QuoteFault::NoComponents { line: short(&line.name) });
    }
    for component in &line.components {
        check_component(line, component, currency, faults);
    }
}

fn check_component(
    line: &QuoteLine,
    component: &Component,
    currency: Currency,
    faults: &mut Vec<QuoteFault>,
) {
    let line = || short(&line.name);
    let name = || short(&component.name);
    match component.price {
        None => faults.push(QuoteFault::MissingPrice { line: line(), component: name() }),
        Some(price) => {
            check_currency(&format!("{}: {}", line(), name()), price, currency, faults);
        }
    }
    let negative_factor = component.factors.iter().any(|factor| match factor {
        Factor::Loss(loss) => loss.0 < Decimal::ZERO,
        Factor::Times { value, .. } | Factor::DividedBy { value, .. } => *value < Decimal::ZERO,
    });
    let negative_price = component.price.is_some_and(|price| price.amount() < Decimal::ZERO);
    if component.amount < Decimal::ZERO || negative_price || negative_factor {
        faults.push(QuoteFault::NegativeComponent { line: line(), component: name() });
    }
    let divided_by_nothing = component.factors.iter().any(|factor| match factor {
        Factor::Loss(loss) => loss.0 >= ALL,
        Factor::DividedBy { value, .. } => value.is_zero(),
        Factor::Times { .. } => false,
    });
    if divided_by_nothing {
        faults.push(QuoteFault::DividedByNothing { line: line(), component: name() });
    }
    if component.recurs.times(1).is_none() {
        faults.push(QuoteFault::EmptyBatch { line: line(), component: name() });
    }
}

fn check_currency(what: &str, price: Money, wanted: Currency, faults: &mut Vec<QuoteFault>) {
    if price.currency() != wanted {
        faults.push(QuoteFault::OtherCurrency {
            what: what.to_owned(),
            found: price.currency().code().to_owned(),
            wanted: wanted.code().to_owned(),
        });
    }
}

#[derive(Clone, Copy)]
enum Limit {
    Below100,
    AtMost100,
}

fn check_rate(
    what: &'static str,
    rate: Percent,
    limit: Option<Limit>,
    faults: &mut Vec<QuoteFault>,
) {
    let percent = rate.0;
    if percent < Decimal::ZERO {
        faults.push(QuoteFault::NegativeRate { what, percent });
    }
    match limit {
        Some(Limit::Below100) if percent >= ALL => {
            faults.push(QuoteFault::RateTooHigh { what, percent, limit: "below 100 %" });
        }
        Some(Limit::AtMost100) if percent > ALL => {
            faults.push(QuoteFault::RateTooHigh { what, percent, limit: "at or below 100 %" });
        }
        _ => {}
    }
}

/// Names are repeated in messages, so a very long one is cut.
fn short(name: &str) -> String {
    name.chars().take(80).collect()
}
