//! What may become of a piece. No SQL, no clock.

use crate::pieces::{Stage, Standing, State};

/// Whether a piece may go back to a stage; else why not. To cure and invest it goes with the same
/// pattern, to finish as the same casting; to print it goes from anywhere, as a new attempt.
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
        (Stage::Print, _)
        | (Stage::Cure | Stage::Invest, Stage::Cure | Stage::Invest)
        | (Stage::Finish, Stage::Finish) => Ok(()),
        _ => Err("Its pattern is in the mould or gone: back to print, or a spare piece."),
    }
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
        assert!(back_to(at(Stage::Cast, hand), Stage::Invest).is_err());
        assert!(back_to(at(Stage::Finish, Standing::Ready), Stage::Finish).is_ok());
        assert!(back_to(at(Stage::Finish, Standing::HandedOver), Stage::Finish).is_err());
        assert!(back_to(at(Stage::Finish, hand), Stage::Cast).is_err());
    }

    #[test]
    fn a_piece_is_printed_again_from_wherever_it_is_with_the_studio() {
        for stage in Stage::ALL {
            assert!(back_to(at(stage, Standing::InHand), Stage::Print).is_ok(), "{stage}");
            let waits = back_to(at(stage, Standing::Waiting), Stage::Print);
            assert_eq!(waits.is_ok(), stage != Stage::Print, "{stage}");
        }
        assert!(back_to(at(Stage::Finish, Standing::Ready), Stage::Print).is_ok());
        assert!(back_to(at(Stage::Finish, Standing::HandedOver), Stage::Print).is_err());
        assert!(back_to(at(Stage::Cast, Standing::Cancelled), Stage::Print).is_err());
    }
}
