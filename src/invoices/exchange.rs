//! What changing money came to between an invoice and its payment. No SQL.
//!
//! An entry in another currency is booked in the studio's at the rate of its own day, so what was
//! invoiced and what was paid for it differ there though they are the same. The difference is
//! gained or lost when the one settles the other (IAS 21, paragraphs 21 and 28).

use foundry::quantity::Currency;
use rust_decimal::{Decimal, RoundingStrategy};
use sqlx::FromRow;

use crate::clock::Day;

/// An entry of an account on its way to be settled.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Side {
    pub(super) amount: Decimal,
    /// What of it is settled already.
    pub(super) settled: Decimal,
    pub(super) booked_in: Option<String>,
    pub(super) booked: Option<Decimal>,
    pub(super) on_day: Day,
}

impl Side {
    /// What the next part of it is booked at. Parts are differences of rounded sums, so that all
    /// of them are together what the whole is booked at.
    fn part(&self, more: Decimal, digits: u32) -> Option<Decimal> {
        let up_to = |settled: Decimal| {
            let share = self.booked?.checked_mul(settled)?.checked_div(self.amount)?;
            Some(share.round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero))
        };
        Some(up_to(self.settled + more)? - up_to(self.settled)?)
    }
}

/// What is gained (above nothing) or lost when a credit settles so much of a debit, with the
/// studio's currency; none where they are not both booked in it.
pub(super) fn difference(
    credit: &Side,
    debit: &Side,
    amount: Decimal,
) -> Option<(String, Decimal)> {
    let booked_in =
        credit.booked_in.as_ref().filter(|own| debit.booked_in.as_ref() == Some(*own))?;
    let digits = Currency::by_code(booked_in).map_or(2, |known| known.minor_digits());
    Some((booked_in.clone(), credit.part(amount, digits)? - debit.part(amount, digits)?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use super::*;

    fn side(amount: &str, settled: &str, booked: &str) -> Side {
        let read = |text: &str| text.parse::<Decimal>().unwrap();
        Side {
            amount: read(amount),
            settled: read(settled),
            booked_in: Some("EUR".to_owned()),
            booked: Some(read(booked)),
            on_day: Day("2026-11-25".parse().unwrap()),
        }
    }

    /// 1100 dollars invoiced at 1.10 are 1000 euros; paid at 1.00 they are 1100.
    #[test]
    fn a_dollar_that_rose_is_a_gain_and_parts_add_up() {
        let all =
            difference(&side("1100", "0", "1100"), &side("1100", "0", "1000"), Decimal::from(1100));
        assert_eq!(all, Some(("EUR".to_owned(), Decimal::from(100))));
        // Three parts that cannot be divided to the cent: 366.67 − 333.33, and what is left.
        let mut sum = Decimal::ZERO;
        for settled in ["0", "366.67", "733.34"] {
            let part = if settled == "733.34" { "366.66" } else { "366.67" }.parse().unwrap();
            let (credit, debit) = (side("1100", settled, "1100"), side("1100", settled, "1000"));
            sum += difference(&credit, &debit, part).unwrap().1;
        }
        assert_eq!(sum, Decimal::from(100));
    }

    #[test]
    fn what_is_not_booked_in_one_currency_has_no_difference() {
        let franc = Side { booked_in: Some("CHF".to_owned()), ..side("1", "0", "1") };
        assert_eq!(difference(&franc, &side("1", "0", "1"), Decimal::ONE), None);
        let none = Side { booked_in: None, booked: None, ..side("1", "0", "1") };
        assert_eq!(difference(&none, &none, Decimal::ONE), None);
    }
}
