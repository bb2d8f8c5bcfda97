//! How sure the cost of a quote is: what the last orders took against what they were quoted.

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use sqlx::PgPool;

use super::actual;
use super::compare;
use super::content::Content;
use super::view;
use crate::id::OrderId;
use crate::web::{Fault, Html, Show, working_of};

/// So many of the orders made last are looked at.
const LATEST: i64 = 8;
/// Of fewer nothing is claimed.
const LEAST: usize = 4;
/// An order of which less than half of the quoted cost was measured tells too little.
const LEAST_MEASURED: Decimal = Decimal::from_parts(5, 0, 0, false, 1);

/// What came back from a page is no larger than this.
const MOST: Decimal = Decimal::ONE_THOUSAND;

/// An order that was made, and what was weighed, timed and read of it; what the program worked
/// out itself is no part of that.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Made {
    pub(super) number: i32,
    /// What it took as a share of what that was quoted at.
    pub(super) share: Decimal,
    /// How much of the quoted cost was measured, as a share.
    pub(super) measured: Decimal,
}

impl Made {
    /// From what all of it was quoted at, what was quoted for that which was measured, and what
    /// that took; none where too little was.
    fn of(number: i32, [quoted, held_against, took]: [Decimal; 3]) -> Option<Self> {
        let measured = held_against.checked_div(quoted)?;
        let share = took.checked_div(held_against)?;
        (measured >= LEAST_MEASURED).then_some(Self { number, share, measured })
    }
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

    /// What would be earned if all costs of a quote came out by a share of what they are quoted at.
    fn earned(content: &Content, share: Decimal) -> Decimal {
        content.totals.earned() - content.totals.direct() * (share - Decimal::ONE)
    }

    /// The worst and the best that would be earned, in words.
    pub(super) fn between(&self, content: &Content, show: &Show) -> Html {
        let [least, _, most] = self.shares();
        let money = |share| show.money_in(Self::earned(content, share), &content.currency);
        Html::trusted(format!("{} to {}", money(most), money(least)))
    }

    /// Like the one that took least, in the middle, and like the one that took most: the share of
    /// its quote, and what would be earned, which opens into how it was reached.
    pub(super) fn table(&self, content: &Content, show: &Show) -> [(Html, Html); 3] {
        let money = |name: &'static str, amount| {
            Figure::exact(name, amount, content.currency.clone(), Source::Computed)
        };
        self.shares().map(|share| {
            let earned = Self::earned(content, share);
            let mut working = Working::default();
            working.step(
                "earned as quoted − costs without overhead × (share of the quote − 1)",
                vec![
                    money("earned as quoted", content.totals.earned()),
                    money("costs without overhead", content.totals.direct()),
                    Figure::exact(
                        "share of the quote",
                        share.round_dp(4),
                        "",
                        Source::MeasuredHere,
                    ),
                ],
                money("earned", earned.round_dp(4)),
            );
            let shown = show.money_in(earned, &content.currency);
            (show.percent(share), working_of(&shown, &working))
        })
    }

    /// As the form carries it, so that turning a number needs no look at past orders again.
    pub(super) fn written(&self) -> String {
        let each = self.orders.iter().map(|made| {
            format!("{} {} {}", made.number, made.share.round_dp(6), made.measured.round_dp(6))
        });
        each.collect::<Vec<_>>().join(";")
    }

    /// Reads what [`Self::written`] wrote.
    pub(super) fn read(text: &str) -> Option<Self> {
        let made = text.split(';').map(|each| {
            let mut parts = each.split(' ');
            let number = parts.next()?.parse().ok()?;
            let mut share = || parts.next()?.parse::<Decimal>().ok().filter(|share| *share < MOST);
            Some(Made { number, share: share()?, measured: share()? })
        });
        Self::of(made.collect::<Option<Vec<_>>>()?)
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
        let mut sums = [Decimal::ZERO; 3];
        for taken in actual::taken(pool, order).await? {
            let Some(line) = content.lines.iter().find(|line| line.n == taken.n) else { continue };
            let compared = compare::compare(content, line, None, taken);
            let of_line = [compared.quoted(), compared.held_against(), compared.took()];
            for (sum, each) in sums.iter_mut().zip(of_line) {
                *sum += each;
            }
        }
        made.extend(Made::of(number, sums));
    }
    Ok(Sure::of(made))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sure(shares: &[i64]) -> Option<Sure> {
        let made = shares.iter().zip(1..);
        Sure::of(
            made.map(|(share, number)| {
                let measured = Decimal::ONE;
                Made { number, share: Decimal::new(*share, 2), measured }
            })
            .collect(),
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

    #[test]
    fn what_a_form_carries_is_read_as_it_was_written() {
        let sure = sure(&[100, 90, 120, 110]).unwrap();
        assert_eq!(Sure::read(&sure.written()), Some(sure));
        for wrong in ["", "1 2", "1 1 1", "a;b;c;d", "1 1 1;2 1 1;3 1 1;4 99999999 1"] {
            assert_eq!(Sure::read(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn an_order_of_which_less_than_half_was_measured_tells_nothing() {
        let of = |sums: [i64; 3]| Made::of(7, sums.map(Decimal::from));
        // 50.00 of 100.00 were measured and took 60.00.
        let half = of([100, 50, 60]).unwrap();
        assert_eq!((half.share, half.measured), (Decimal::new(12, 1), Decimal::new(5, 1)));
        assert_eq!(of([100, 49, 60]), None);
        assert_eq!(of([0, 0, 0]), None);
        assert_eq!(of([100, 0, 0]), None);
    }
}
