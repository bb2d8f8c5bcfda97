//! How sure the cost of a quote is: what the last orders took against what they were quoted.

use rust_decimal::Decimal;
use sqlx::PgPool;

use super::actual;
use super::compare;
use super::view;
use crate::id::OrderId;
use crate::web::Fault;

/// So many of the orders made last are looked at.
const LATEST: i64 = 8;
/// Of fewer nothing is claimed.
const LEAST: usize = 4;

/// An order that was made: its number, and what was measured of it as a share of what that was
/// quoted at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Made {
    pub(super) number: i32,
    pub(super) share: Decimal,
}

/// How far orders came out from their quotes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Sure {
    /// The orders, the one that took least first.
    pub(super) orders: Vec<Made>,
}

impl Sure {
    /// From orders in any order; none of too few.
    fn of(mut orders: Vec<Made>) -> Option<Self> {
        orders.sort_by_key(|one| (one.share, one.number));
        (orders.len() >= LEAST).then_some(Self { orders })
    }

    /// The least, the middle and the most of the shares.
    pub(super) fn shares(&self) -> [Decimal; 3] {
        let at = |n: usize| self.orders.get(n).map_or(Decimal::ONE, |made| made.share);
        let last = self.orders.len().saturating_sub(1);
        let middle = (at(last / 2) + at(last.div_ceil(2))) / Decimal::TWO;
        [at(0), middle, at(last)]
    }
}

/// Looks at the orders made last.
pub(super) async fn of_past(pool: &PgPool) -> Result<Option<Sure>, Fault> {
    let orders: Vec<(OrderId, i32)> = sqlx::query_as(
        "SELECT o.id, o.number FROM orders o
         WHERE o.state IN ('ready', 'handed_over') AND EXISTS (SELECT 1 FROM quotes q WHERE q.order_id = o.id AND q.state = 'accepted')
         ORDER BY o.agreed_at DESC NULLS LAST, o.number DESC LIMIT $1",
    )
    .bind(LATEST)
    .fetch_all(pool)
    .await?;
    let mut made = Vec::new();
    for (order, number) in orders {
        let Some(quote) = view::standing(pool, order).await? else { continue };
        let content = &quote.content.0;
        let (mut quoted, mut took) = (Decimal::ZERO, Decimal::ZERO);
        for taken in actual::taken(pool, order).await? {
            let Some(line) = content.lines.iter().find(|line| line.n == taken.n) else { continue };
            let compared = compare::compare(content, line, None, taken);
            for cost in compared.costs {
                if let Some(taken) = cost.taken.filter(|taken| taken.measured) {
                    quoted += cost.quoted_cost;
                    took += taken.cost;
                }
            }
        }
        if let Some(share) = took.checked_div(quoted) {
            made.push(Made { number, share });
        }
    }
    Ok(Sure::of(made))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sure(shares: &[i64]) -> Option<Sure> {
        let made = shares.iter().zip(1..);
        Sure::of(
            made.map(|(share, number)| Made { number, share: Decimal::new(*share, 2) }).collect(),
        )
    }

    #[test]
    fn from_three_orders_nothing_is_claimed_and_from_four_the_middle_and_the_ends() {
        assert_eq!(sure(&[100, 90, 120]), None);
        let ends = |shares: &[i64]| sure(shares).map(|sure| sure.shares());
        let wanted = |all: [i64; 3]| Some(all.map(|share| Decimal::new(share, 2)));
        assert_eq!(ends(&[100, 90, 120, 110]), wanted([90, 105, 120]));
        assert_eq!(ends(&[100, 90, 120, 110, 130]), wanted([90, 110, 130]));
    }
}
