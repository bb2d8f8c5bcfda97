//! What an invoice comes to: lines, taxes, totals. No SQL, no clock.

use std::collections::BTreeMap;

use foundry::quantity::Currency;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

/// A tax on a line.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct Tax {
    pub(crate) name: String,
    pub(crate) percent: Decimal,
}

/// A tax with what it comes to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct TaxAmount {
    pub(crate) name: String,
    pub(crate) percent: Decimal,
    pub(crate) amount: Decimal,
}

impl TaxAmount {
    fn tax(&self) -> Tax {
        Tax { name: self.name.clone(), percent: self.percent.normalize() }
    }
}

/// Amounts that were settled elsewhere: in a quote, or on the invoice that is corrected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fixed {
    pub(crate) amount: Decimal,
    pub(crate) net: Decimal,
    pub(crate) taxes: Vec<TaxAmount>,
}

/// A line before it is reckoned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Line {
    pub(crate) words: String,
    pub(crate) quantity: Decimal,
    pub(crate) unit_price: Decimal,
    pub(crate) discount: Decimal,
    pub(crate) taxes: Vec<Tax>,
    pub(crate) fixed: Option<Fixed>,
}

/// What a line comes to: `gross = net + taxes`; `amount` is net or gross, as prices are shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Reckoned {
    pub(crate) amount: Decimal,
    pub(crate) net: Decimal,
    pub(crate) gross: Decimal,
    pub(crate) taxes: Vec<TaxAmount>,
}

/// A tax of the whole document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct TaxTotal {
    pub(crate) tax: Tax,
    pub(crate) base: Decimal,
    pub(crate) amount: Decimal,
}

/// What the document comes to; every total is the sum of its lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Totals {
    pub(crate) net: Decimal,
    pub(crate) tax: Decimal,
    pub(crate) total: Decimal,
    pub(crate) taxes: Vec<TaxTotal>,
}

/// Where tax is rounded; laws and habits differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Rounding {
    /// On each line.
    Line,
    /// Once for each tax of the document, then shared out over the lines by largest remainders.
    Document,
}

impl Rounding {
    pub(crate) fn named(name: &str) -> Self {
        if name == "document" { Self::Document } else { Self::Line }
    }
}

/// How a document is reckoned.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rules {
    pub(crate) currency: Currency,
    /// Prices contain the tax.
    pub(crate) inclusive: bool,
    pub(crate) rounding: Rounding,
}

/// The amounts have more digits than can be kept exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct TooLarge;

/// The largest amount that is kept; above it a decimal point has slipped.
const MOST: Decimal = Decimal::from_parts(1_316_134_912, 2328, 0, false, 0);

/// Reckons a document. Halves are rounded away from zero to the currency's smallest unit
/// (ISO 4217), at two places: the amount of a line, and its tax or the document's.
pub(crate) fn reckon(lines: &[Line], rules: Rules) -> Result<(Vec<Reckoned>, Totals), TooLarge> {
    let digits = rules.currency.minor_digits();
    let amounts = lines
        .iter()
        .map(|line| match &line.fixed {
            Some(fixed) => Ok(fixed.amount),
            None => amount_of(line, digits),
        })
        .collect::<Result<Vec<_>, TooLarge>>()?;
    let taxes = match rules.rounding {
        Rounding::Line => lines
            .iter()
            .zip(&amounts)
            .map(|(line, amount)| {
                exact_taxes(line, *amount, rules.inclusive)
                    .map(|taxes| taxes.into_iter().map(|tax| round(tax, digits)).collect())
            })
            .collect::<Result<Vec<Vec<Decimal>>, TooLarge>>()?,
        Rounding::Document => taxes_of_document(lines, &amounts, rules)?,
    };
    let mut reckoned = Vec::with_capacity(lines.len());
    for ((line, amount), taxes) in lines.iter().zip(amounts).zip(taxes) {
        reckoned.push(match &line.fixed {
            Some(fixed) => {
                let tax: Decimal = fixed.taxes.iter().map(|tax| tax.amount).sum();
                Reckoned {
                    amount,
                    net: fixed.net,
                    gross: fixed.net + tax,
                    taxes: fixed.taxes.clone(),
                }
            }
            None => {
                let tax: Decimal = taxes.iter().sum();
                let (net, gross) =
                    if rules.inclusive { (amount - tax, amount) } else { (amount, amount + tax) };
                let taxes = line.taxes.iter().zip(taxes).map(|(tax, amount)| TaxAmount {
                    name: tax.name.clone(),
                    percent: tax.percent,
                    amount,
                });
                Reckoned { amount, net, gross, taxes: taxes.collect() }
            }
        });
    }
    let totals = totals_of(&reckoned)?;
    Ok((reckoned, totals))
}

fn round(amount: Decimal, digits: u32) -> Decimal {
    amount.round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero)
}

fn amount_of(line: &Line, digits: u32) -> Result<Decimal, TooLarge> {
    let whole = line.quantity.checked_mul(line.unit_price).ok_or(TooLarge)?;
    let amount = round(whole, digits).checked_sub(line.discount).ok_or(TooLarge)?;
    if amount.abs() > MOST { Err(TooLarge) } else { Ok(round(amount, digits)) }
}

/// The net amount that the taxes of a line are reckoned on, unrounded.
fn exact_base(line: &Line, amount: Decimal, inclusive: bool) -> Result<Decimal, TooLarge> {
    if !inclusive {
        return Ok(amount);
    }
    let all: Decimal = line.taxes.iter().map(|tax| tax.percent).sum();
    amount.checked_div(Decimal::ONE + all / Decimal::ONE_HUNDRED).ok_or(TooLarge)
}

fn exact_taxes(line: &Line, amount: Decimal, inclusive: bool) -> Result<Vec<Decimal>, TooLarge> {
    let base = exact_base(line, amount, inclusive)?;
    let of = |tax: &Tax| base.checked_mul(tax.percent / Decimal::ONE_HUNDRED).ok_or(TooLarge);
    line.taxes.iter().map(of).collect()
}

/// Each tax rounded once on everything it is on; lines with settled amounts stay out of it.
fn taxes_of_document(
    lines: &[Line],
    amounts: &[Decimal],
    rules: Rules,
) -> Result<Vec<Vec<Decimal>>, TooLarge> {
    let digits = rules.currency.minor_digits();
    let mut out: Vec<Vec<Decimal>> =
        lines.iter().map(|line| vec![Decimal::ZERO; line.taxes.len()]).collect();
    // For each tax: which tax of which line, and what it comes to unrounded.
    let mut places: BTreeMap<&Tax, Vec<(usize, usize, Decimal)>> = BTreeMap::new();
    for (at, (line, amount)) in lines.iter().zip(amounts).enumerate() {
        if line.fixed.is_some() {
            continue;
        }
        let exact = exact_taxes(line, *amount, rules.inclusive)?;
        for (n, (tax, exact)) in line.taxes.iter().zip(exact).enumerate() {
            places.entry(tax).or_default().push((at, n, exact));
        }
    }
    for places in places.into_values() {
        let exact: Vec<Decimal> = places.iter().map(|(.., exact)| *exact).collect();
        let total = round(exact.iter().sum(), digits);
        for ((at, n, _), share) in places.iter().zip(round_to_sum(total, &exact, digits)) {
            out[*at][*n] = share;
        }
    }
    Ok(out)
}

/// Rounds amounts so that they add up to a rounded total: each down, then the smallest units
/// that are left over go to those that lost most.
fn round_to_sum(total: Decimal, exact: &[Decimal], digits: u32) -> Vec<Decimal> {
    let unit = Decimal::new(1, digits);
    let mut shares: Vec<Decimal> = exact
        .iter()
        .map(|value| value.round_dp_with_strategy(digits, RoundingStrategy::ToNegativeInfinity))
        .collect();
    let mut left = total - shares.iter().sum::<Decimal>();
    let mut order: Vec<usize> = (0..shares.len()).collect();
    order.sort_by(|&a, &b| (exact[b] - shares[b]).cmp(&(exact[a] - shares[a])));
    for at in order {
        if left < unit {
            break;
        }
        shares[at] += unit;
        left -= unit;
    }
    shares
}

fn totals_of(lines: &[Reckoned]) -> Result<Totals, TooLarge> {
    let mut taxes: Vec<TaxTotal> = Vec::new();
    for line in lines {
        for each in &line.taxes {
            let tax = each.tax();
            match taxes.iter_mut().find(|known| known.tax == tax) {
                Some(known) => {
                    known.base += line.net;
                    known.amount += each.amount;
                }
                None => taxes.push(TaxTotal { tax, base: line.net, amount: each.amount }),
            }
        }
    }
    let net: Decimal = lines.iter().map(|line| line.net).sum();
    let total: Decimal = lines.iter().map(|line| line.gross).sum();
    if net.abs() > MOST || total.abs() > MOST {
        return Err(TooLarge);
    }
    Ok(Totals { net, tax: total - net, total, taxes })
}

/// Reads taxes as people write them, `VAT 19` or `GST 5 + QST 9.975`; nothing is no tax.
pub(crate) fn read_taxes(text: &str) -> Result<Vec<Tax>, String> {
    let mut taxes: Vec<Tax> = Vec::new();
    for part in text.split(['+', ';']).map(str::trim).filter(|part| !part.is_empty()) {
        let wrong = || format!("“{part}” is not a tax; write its name and its rate, as in VAT 19.");
        let plain = part.trim_end_matches('%').trim_end();
        let (name, rate) = plain.rsplit_once(char::is_whitespace).ok_or_else(wrong)?;
        let percent: Decimal = rate.replace(',', ".").parse().map_err(|_| wrong())?;
        if percent < Decimal::ZERO || percent > Decimal::ONE_HUNDRED {
            return Err(format!(
                "The rate of {} must lie between 0 and 100 per cent.",
                name.trim()
            ));
        }
        if percent.normalize().scale() > 4 {
            return Err("A rate can have four decimals at most.".to_owned());
        }
        let tax = Tax { name: name.trim().to_owned(), percent: percent.normalize() };
        if taxes.contains(&tax) {
            return Err(format!("{} stands there twice.", tax.name));
        }
        taxes.push(tax);
    }
    Ok(taxes)
}

/// Writes taxes as [`read_taxes`] reads them.
pub(crate) fn write_taxes<'a>(taxes: impl IntoIterator<Item = (&'a str, Decimal)>) -> String {
    taxes
        .into_iter()
        .map(|(name, percent)| format!("{name} {}", percent.normalize()))
        .collect::<Vec<_>>()
        .join(" + ")
}

#[cfg(test)]
#[path = "model_tests.rs"]
mod tests;
