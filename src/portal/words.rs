//! Where a piece is, for somebody who does not cast.

use crate::pieces::{BoxState, CardBox, RouteCard, Stage, Standing};

/// The sentence under a piece's name.
pub(super) fn of(card: &RouteCard) -> &'static str {
    match (card.standing, card.stage) {
        (Standing::Ready, _) => "Ready for you",
        (Standing::HandedOver, _) => "With you",
        (Standing::Cancelled, _) => "Not being made",
        (Standing::Waiting, Stage::Print) if card.attempt_n > 1 => {
            "Something went wrong; it is being made again"
        }
        (Standing::Waiting, Stage::Print) => "Waiting for its turn",
        (Standing::InHand, Stage::Print) => "The pattern is being printed",
        (Standing::Waiting, Stage::Cure) => "The pattern is printed",
        (Standing::InHand, Stage::Cure) => "The pattern is being hardened",
        (Standing::Waiting, Stage::Invest) => "The pattern is ready for its mould",
        (Standing::InHand, Stage::Invest) => "In its mould, which is setting",
        (Standing::Waiting, Stage::Burnout) => "The mould waits for the kiln",
        (Standing::InHand, Stage::Burnout) => "In the kiln",
        (Standing::Waiting, Stage::Cast) => "The mould is hot and waits for the metal",
        (Standing::InHand, Stage::Cast) => "Being cast",
        (Standing::Waiting, Stage::Finish) => "Cast, and waiting for the bench",
        (Standing::InHand, Stage::Finish) => "Being finished by hand",
    }
}

/// The word for a step.
pub(super) const fn step(stage: Stage) -> &'static str {
    match stage {
        Stage::Print => "Pattern",
        Stage::Cure => "Hardened",
        Stage::Invest => "Mould",
        Stage::Burnout => "Kiln",
        Stage::Cast => "Cast",
        Stage::Finish => "Finished",
    }
}

/// The word for how a step stands.
pub(super) const fn state(step: &CardBox) -> &'static str {
    match step.state {
        BoxState::Done => "done",
        BoxState::InHand => "now",
        BoxState::Waiting => "next",
        BoxState::ToCome | BoxState::Failed => "to come",
    }
}
