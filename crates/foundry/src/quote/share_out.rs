//! Sharing an amount out so that the shares add up to it exactly.

use rust_decimal::{Decimal, RoundingStrategy};

use crate::quantity::Money;

use super::QuoteFault;

/// Shares an amount out by weights; the shares add up to it exactly.
///
/// Largest remainder: each share is first rounded down to the smallest unit of the currency,
/// then the units left over go to the shares that lost most, the earlier one first when equal.
/// An amount that is not a whole number of smallest units is rounded first.
///
/// # Refuses
/// Weights below zero or all zero, an amount below zero.
pub fn share_out(amount: Money, weights: &[Decimal]) -> Result<Vec<Money>, QuoteFault> {
    let amount = amount.rounded();
    let total_weight = weights
        .iter()
        .try_fold(Decimal::ZERO, |sum, weight| sum.checked_add(*weight))
        .ok_or(QuoteFault::TooLarge)?;
    if amount.amount().is_zero() {
        return Ok(vec![Money::zero(amount.currency()); weights.len()]);
    }
    let some_negative = weights.iter().any(|weight| *weight < Decimal::ZERO);
    if some_negative || total_weight.is_zero() || amount.amount() < Decimal::ZERO {
        return Err(QuoteFault::NothingToShareBy);
    }
    let exact = weights
        .iter()
        .map(|weight| {
            let scaled = amount.amount().checked_mul(*weight)?;
            scaled.checked_div(total_weight)
        })
        .collect::<Option<Vec<Decimal>>>()
        .ok_or(QuoteFault::TooLarge)?;
    round_to_sum(amount, &exact)
}

/// Rounds exact amounts so that they add up to a total that is already rounded.
pub(super) fn round_to_sum(total: Money, exact: &[Decimal]) -> Result<Vec<Money>, QuoteFault> {
    let currency = total.currency();
    let digits = currency.minor_digits();
    let unit = Decimal::new(1, digits);
    let mut shares: Vec<Decimal> = exact
        .iter()
        .map(|value| value.round_dp_with_strategy(digits, RoundingStrategy::ToNegativeInfinity))
        .collect();
    let sum = shares
        .iter()
        .try_fold(Decimal::ZERO, |sum, share| sum.checked_add(*share))
        .ok_or(QuoteFault::TooLarge)?;
    let mut left_over = total.amount() - sum;
    let mut by_remainder: Vec<usize> = (0..shares.len()).collect();
    by_remainder.sort_by(|&a, &b| (exact[b] - shares[b]).cmp(&(exact[a] - shares[a])));
    for at in by_remainder {
        if left_over < unit {
            break;
        }
        shares[at] += unit;
        left_over -= unit;
    }
    Ok(shares.into_iter().map(|share| Money::new(share, currency)).collect())
}
