//! An invoice's lines from a quote that the client accepted, to the cent.

use rust_decimal::Decimal;

use foundry::quantity::{Currency, Money};
use foundry::quote::share_out;

use super::model::{Fixed, Line, Tax, TaxAmount};
use crate::quotes::{Content, LineTax};

/// The lines of the whole order, as they were agreed.
pub(super) fn whole(content: &Content) -> Vec<Line> {
    content
        .lines
        .iter()
        .map(|line| {
            let quantity = Decimal::from(line.quantity);
            let amount = line.amounts.list - line.amounts.discount;
            // A line that has only a price as a whole is one of its kind.
            let what = line.words();
            let (quantity, unit_price, words) = match line.unit_price {
                Some(price) => (quantity, price, what),
                None => (Decimal::ONE, line.amounts.list, format!("{} × {what}", line.quantity)),
            };
            fixed_line(
                words,
                (quantity, unit_price, line.amounts.discount),
                Fixed {
                    amount,
                    net: line.amounts.net,
                    taxes: taxes(content, content.tax_of(line), line.amounts.tax),
                },
            )
        })
        .collect()
}

/// The deposit, a line for each tax of the quote: it is shared out by what the lines of each tax
/// come to, and its share of net and tax is theirs.
pub(super) fn deposit(content: &Content, number: i32, n: i32, currency: Currency) -> Vec<Line> {
    let sums = content.by_tax();
    let weights: Vec<Decimal> = sums.iter().map(|sum| sum.gross).collect();
    let whole = Money::new(content.deposit, currency);
    let shares = share_out(whole, &weights).unwrap_or_else(|_| vec![whole]);
    let words = format!("Deposit for order {number}, as agreed in quote {n}");
    let parts = sums.iter().zip(shares);
    parts
        .filter(|(_, share)| !share.amount().is_zero())
        .map(|(sum, share)| {
            let gross = share.amount();
            let tax = (gross * sum.amount).checked_div(sum.gross).unwrap_or_default();
            let tax = Money::new(tax, currency).rounded().amount();
            let net = gross - tax;
            let amount = if content.tax_inclusive { gross } else { net };
            let words = if sums.len() > 1 {
                format!("{words}: the part with {} {} %", sum.tax.name, sum.tax.percent.normalize())
            } else {
                words.clone()
            };
            fixed_line(
                words,
                (Decimal::ONE, amount, Decimal::ZERO),
                Fixed { amount, net, taxes: taxes(content, sum.tax.clone(), tax) },
            )
        })
        .collect()
}

fn taxes(content: &Content, tax: LineTax, amount: Decimal) -> Vec<TaxAmount> {
    let percent = tax.percent.normalize();
    // A rate of nothing is told beside others, as “exempt” or “reverse charge” is.
    if percent.is_zero() && amount.is_zero() && !content.taxes_differ() {
        return Vec::new();
    }
    vec![TaxAmount { name: tax.name, percent, amount }]
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
