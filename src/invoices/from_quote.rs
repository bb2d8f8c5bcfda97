//! An invoice's lines from a quote that the client accepted, to the cent.

use rust_decimal::Decimal;

use super::model::{Fixed, Line, Tax, TaxAmount};
use crate::quotes::Content;

/// The lines of the whole order, as they were agreed.
pub(super) fn whole(content: &Content) -> Vec<Line> {
    content
        .lines
        .iter()
        .map(|line| {
            let quantity = Decimal::from(line.quantity);
            let amount = line.amounts.list - line.amounts.discount;
            // A line that has only a price as a whole is one of its kind.
            let (quantity, unit_price, words) = match line.unit_price {
                Some(price) => (quantity, price, format!("{} in {}", line.name, line.alloy)),
                None => (
                    Decimal::ONE,
                    line.amounts.list,
                    format!("{} × {} in {}", line.quantity, line.name, line.alloy),
                ),
            };
            fixed_line(
                words,
                (quantity, unit_price, line.amounts.discount),
                Fixed { amount, net: line.amounts.net, taxes: taxes(content, line.amounts.tax) },
            )
        })
        .collect()
}

/// The deposit: its share of net and tax is that of the whole quote.
pub(super) fn deposit(content: &Content, number: i32, n: i32, digits: u32) -> Line {
    let gross = content.deposit;
    let tax = (gross * content.totals.tax)
        .checked_div(content.totals.gross)
        .unwrap_or_default()
        .round_dp_with_strategy(digits, rust_decimal::RoundingStrategy::MidpointAwayFromZero);
    let net = gross - tax;
    let amount = if content.tax_inclusive { gross } else { net };
    fixed_line(
        format!("Deposit for order {number}, as agreed in quote {n}"),
        (Decimal::ONE, amount, Decimal::ZERO),
        Fixed { amount, net, taxes: taxes(content, tax) },
    )
}

fn taxes(content: &Content, amount: Decimal) -> Vec<TaxAmount> {
    if content.tax_percent.is_zero() && amount.is_zero() {
        return Vec::new();
    }
    vec![TaxAmount {
        name: content.tax_name.clone(),
        percent: content.tax_percent.normalize(),
        amount,
    }]
}

fn fixed_line(
    words: String,
    (quantity, unit_price, discount): (Decimal, Decimal, Decimal),
    fixed: Fixed,
) -> Line {
    let taxes = fixed
        .taxes
        .iter()
        .map(|tax| Tax { name: tax.name.clone(), percent: tax.percent })
        .collect();
    Line { words, quantity, unit_price, discount, taxes, fixed: Some(fixed) }
}
