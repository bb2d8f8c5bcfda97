//! How long a piece takes from where it is, and what was spent on it. No SQL, no clock.

use rust_decimal::Decimal;

use super::view::StageCost;
use crate::pieces::{Stage, Standing, State};

/// Fewer records of a stage than these say nothing about its days.
const LEAST_RECORDS: i64 = 5;

/// How long a stage usually takes, with the waiting before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Typical {
    /// The stage.
    pub stage: Stage,
    /// The median of the pieces that came through it lately, in days.
    pub days: f64,
    /// How many came through.
    pub records: i64,
}

/// The days from a state until a piece is ready; none while one of its stages has too few records.
#[must_use]
pub fn days_left(typical: &[Typical], state: State) -> Option<f64> {
    if !matches!(state.standing, Standing::Waiting | Standing::InHand) {
        return Some(0.0);
    }
    Stage::ALL
        .into_iter()
        .filter(|stage| *stage >= state.stage)
        .map(|stage| {
            typical
                .iter()
                .find(|each| each.stage == stage && each.records >= LEAST_RECORDS)
                .map(|each| each.days)
        })
        .sum()
}

/// What some stages cost together, and whether one of them has no rate.
#[must_use]
pub(super) fn total(costs: &[StageCost], from: Stage, to: Stage) -> (Decimal, bool) {
    let within: Vec<_> = costs.iter().filter(|cost| (from..=to).contains(&cost.stage)).collect();
    let sum = within.iter().filter_map(|cost| cost.amount).sum();
    (sum, within.iter().any(|cost| cost.amount.is_none()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(stage: Stage, standing: Standing) -> State {
        State { attempt_n: 1, stage, standing }
    }

    #[test]
    fn days_are_summed_from_where_a_piece_is_and_not_guessed() {
        let typical: Vec<_> =
            Stage::ALL.into_iter().map(|stage| Typical { stage, days: 1.5, records: 5 }).collect();
        assert_eq!(days_left(&typical, at(Stage::Print, Standing::Waiting)), Some(9.0));
        assert_eq!(days_left(&typical, at(Stage::Cast, Standing::InHand)), Some(3.0));
        assert_eq!(days_left(&typical, at(Stage::Finish, Standing::Ready)), Some(0.0));
        let few: Vec<_> = typical.iter().map(|each| Typical { records: 4, ..*each }).collect();
        assert_eq!(days_left(&few, at(Stage::Print, Standing::Waiting)), None);
    }

    #[test]
    fn what_has_no_rate_is_said_and_the_rest_is_summed() {
        let cost = |stage, amount: Option<i64>| StageCost {
            stage,
            how: String::new(),
            amount: amount.map(Decimal::from),
        };
        let costs = [
            cost(Stage::Print, Some(4)),
            cost(Stage::Cure, None),
            cost(Stage::Invest, Some(9)),
            cost(Stage::Burnout, Some(2)),
        ];
        assert_eq!(total(&costs, Stage::Print, Stage::Print), (Decimal::from(4), false));
        assert_eq!(total(&costs, Stage::Print, Stage::Invest), (Decimal::from(13), true));
        assert_eq!(total(&costs, Stage::Invest, Stage::Burnout), (Decimal::from(11), false));
    }
}
