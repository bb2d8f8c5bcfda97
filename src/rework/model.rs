//! What may become of a piece, and how long it takes from there. No SQL, no clock.

use crate::pieces::{Stage, Standing, State};

/// Fewer records of a stage than these say nothing about its days.
pub(super) const LEAST_RECORDS: i64 = 5;

/// How long a stage usually takes, with the waiting before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Typical {
    pub(super) stage: Stage,
    /// The median of the pieces that came through it lately.
    pub(super) days: f64,
    pub(super) records: i64,
}

/// Whether a piece may go back to a stage with the same pattern or casting; else why not.
pub(super) fn back_to(state: State, to: Stage) -> Result<(), &'static str> {
    let begun = state.standing != Standing::Waiting;
    let been_there = to < state.stage || (to == state.stage && begun);
    if to == state.stage && state.standing == Standing::Waiting {
        return Err("It waits there.");
    }
    if !been_there || matches!(state.standing, Standing::HandedOver | Standing::Cancelled) {
        return Err("It has not come so far.");
    }
    match (to, state.stage) {
        (Stage::Print, _) => Err(
            "A pattern is not printed twice: record that it failed, and the next attempt waits for print.",
        ),
        (Stage::Cure | Stage::Invest, Stage::Cure | Stage::Invest) => Ok(()),
        (Stage::Finish, Stage::Finish) => Ok(()),
        _ => Err("Its pattern is in the mould or gone: a new one is needed, or a spare piece."),
    }
}

/// The days from a state until a piece is ready; none while one of its stages has too few records.
pub(super) fn days_left(typical: &[Typical], state: State) -> Option<f64> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn at(stage: Stage, standing: Standing) -> State {
        State { attempt_n: 1, stage, standing }
    }

    #[test]
    fn a_pattern_goes_back_while_there_is_one() {
        let hand = Standing::InHand;
        assert!(back_to(at(Stage::Invest, Standing::Waiting), Stage::Cure).is_ok());
        assert!(back_to(at(Stage::Cure, hand), Stage::Cure).is_ok());
        assert!(
            back_to(at(Stage::Cure, Standing::Waiting), Stage::Cure).is_err(),
            "it waits there"
        );
        assert!(back_to(at(Stage::Cure, hand), Stage::Invest).is_err(), "it was not there yet");
        assert!(back_to(at(Stage::Invest, hand), Stage::Print).is_err());
        assert!(back_to(at(Stage::Cast, hand), Stage::Invest).is_err());
        assert!(back_to(at(Stage::Finish, Standing::Ready), Stage::Finish).is_ok());
        assert!(back_to(at(Stage::Finish, Standing::HandedOver), Stage::Finish).is_err());
        assert!(back_to(at(Stage::Finish, hand), Stage::Cast).is_err());
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
}
