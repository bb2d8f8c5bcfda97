//! What may happen to a piece, and what follows from it. No SQL, no clock.

use axum::http::StatusCode;

use crate::web::Refused;

/// The six stages of the trade, in their order.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    sqlx::Type,
    serde::Serialize,
    serde::Deserialize,
)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// The pattern is printed in castable resin.
    Print,
    /// Washed and cured.
    Cure,
    /// Cleaned up, put on a tree, invested in a flask, bench set.
    Invest,
    /// Burnt out in the kiln.
    Burnout,
    /// Poured.
    Cast,
    /// Divested, cut off, finished by hand, checked.
    Finish,
}

impl Stage {
    /// All six, in order.
    pub const ALL: [Self; 6] =
        [Self::Print, Self::Cure, Self::Invest, Self::Burnout, Self::Cast, Self::Finish];

    /// The word used in addresses and in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Print => "print",
            Self::Cure => "cure",
            Self::Invest => "invest",
            Self::Burnout => "burnout",
            Self::Cast => "cast",
            Self::Finish => "finish",
        }
    }

    /// The word with a capital, for headings.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Print => "Print",
            Self::Cure => "Cure",
            Self::Invest => "Invest",
            Self::Burnout => "Burnout",
            Self::Cast => "Cast",
            Self::Finish => "Finish",
        }
    }

    /// The stage after this one; none after finish.
    #[must_use]
    pub fn next(self) -> Option<Self> {
        Self::ALL.get(self as usize + 1).copied()
    }
}

impl std::str::FromStr for Stage {
    type Err = ();
    fn from_str(text: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|stage| stage.name() == text).ok_or(())
    }
}

impl std::fmt::Display for Stage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// How a piece stands at its stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum Standing {
    /// Waits for the stage to begin.
    Waiting,
    /// The stage is under way.
    InHand,
    /// All stages are done.
    Ready,
    /// With the client.
    HandedOver,
    /// Will not be made.
    Cancelled,
}

/// What the events of a piece add up to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct State {
    /// Which attempt is under way; counts from 1.
    pub attempt_n: i32,
    /// Where the piece is.
    pub stage: Stage,
    /// How it stands there.
    pub standing: Standing,
}

/// Something that happened to a piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Happening {
    /// A stage began.
    Entered(Stage),
    /// It was taken out of its batch before the stage was done.
    Left(Stage),
    /// A stage is done.
    Finished(Stage),
    /// The attempt failed, for a cause; the next attempt waits for print.
    Failed(Stage, String),
    /// It goes through a stage again, as the same attempt.
    SentBack(Stage),
    /// It belongs to another order from now on.
    Moved,
    /// The client has it.
    HandedOver,
    /// It will not be made.
    Cancelled,
    /// Something worth noting; nothing follows from it.
    Noted,
}

impl Happening {
    /// The word kept in the database.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Entered(_) => "entered",
            Self::Left(_) => "left",
            Self::Finished(_) => "finished",
            Self::Failed(..) => "failed",
            Self::SentBack(_) => "sent_back",
            Self::Moved => "moved",
            Self::HandedOver => "handed_over",
            Self::Cancelled => "cancelled",
            Self::Noted => "noted",
        }
    }
}

/// Why something cannot happen to a piece.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PieceRefusal {
    /// The piece is at another stage, or the stage has not begun or has ended.
    #[error(
        "Piece {label} {now_words}, so it cannot {wanted}. Nothing was changed; look where it is now."
    )]
    NotThere {
        /// Which piece.
        label: String,
        /// Where it is, in words.
        now_words: String,
        /// What was to happen, in words.
        wanted: String,
    },
    /// Only the last thing that happened can be taken back, and not everything can.
    #[error(
        "Piece {label}: this cannot be taken back any more, because of what was done since. Note a correction instead."
    )]
    NotUndoable {
        /// Which piece.
        label: String,
    },
    /// It failed with all of its flask; they come back together.
    #[error(
        "Piece {label} failed because flask {flask} was recorded as lost. Take that back on the page of flask {flask}: “It is not lost” brings the flask, its place and its pieces back together. Nothing was changed."
    )]
    FlaskLost {
        /// Which piece.
        label: String,
        /// The flask that was given up.
        flask: i32,
    },
    /// The form was made before something else happened.
    #[error(
        "Somebody recorded something else for piece {label} while this page was open. Nothing of yours was saved; look at it as it is now and try again."
    )]
    Stale {
        /// Which piece.
        label: String,
    },
    /// A failure has to say why.
    #[error("Say why piece {label} failed; the cause is what the next attempt learns from.")]
    NoCause {
        /// Which piece.
        label: String,
    },
}

impl From<PieceRefusal> for Refused {
    fn from(refusal: PieceRefusal) -> Self {
        match refusal {
            PieceRefusal::NoCause { .. } => Self {
                status: StatusCode::UNPROCESSABLE_ENTITY,
                message: refusal.to_string(),
                field: Some("cause"),
            },
            _ => Self::conflict(refusal.to_string()),
        }
    }
}

impl State {
    /// A piece that has just been ordered.
    pub const QUEUED: Self =
        Self { attempt_n: 1, stage: Stage::Print, standing: Standing::Waiting };

    /// The state after something happened; `None` when it cannot happen now.
    #[must_use]
    pub fn after(self, happening: &Happening) -> Option<Self> {
        let at =
            |stage: Stage, standing: Standing| (self.stage, self.standing) == (stage, standing);
        let alive = matches!(self.standing, Standing::Waiting | Standing::InHand);
        match happening {
            Happening::Entered(stage) if at(*stage, Standing::Waiting) => {
                Some(Self { standing: Standing::InHand, ..self })
            }
            Happening::Left(stage) if at(*stage, Standing::InHand) => {
                Some(Self { standing: Standing::Waiting, ..self })
            }
            Happening::Finished(stage) if at(*stage, Standing::InHand) => {
                Some(match stage.next() {
                    Some(next) => Self { stage: next, standing: Standing::Waiting, ..self },
                    None => Self { standing: Standing::Ready, ..self },
                })
            }
            // What waits for a stage may still fail of the one before: a mould cracks as it sets.
            Happening::Failed(stage, _)
                if alive
                    && (self.stage == *stage
                        || (self.standing == Standing::Waiting
                            && stage.next() == Some(self.stage))) =>
            {
                Some(Self { attempt_n: self.attempt_n + 1, ..Self::QUEUED })
            }
            Happening::SentBack(stage)
                if (alive || self.standing == Standing::Ready)
                    && *stage <= self.stage
                    && !at(*stage, Standing::Waiting) =>
            {
                Some(Self { stage: *stage, standing: Standing::Waiting, ..self })
            }
            Happening::Moved if alive || self.standing == Standing::Ready => Some(self),
            Happening::HandedOver if self.standing == Standing::Ready => {
                Some(Self { standing: Standing::HandedOver, ..self })
            }
            Happening::Cancelled if alive => Some(Self { standing: Standing::Cancelled, ..self }),
            Happening::Noted => Some(self),
            _ => None,
        }
    }

    /// Where the piece is, as the end of a sentence that begins with its name.
    #[must_use]
    pub fn words(self) -> String {
        match self.standing {
            Standing::Waiting => format!("waits for {}", self.stage),
            Standing::InHand => format!("is in hand at {}", self.stage),
            Standing::Ready => "is ready".to_owned(),
            Standing::HandedOver => "is handed over".to_owned(),
            Standing::Cancelled => "is cancelled".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piece_walks_through_six_stages_and_is_ready() {
        let mut state = State::QUEUED;
        for stage in Stage::ALL {
            assert_eq!((state.stage, state.standing), (stage, Standing::Waiting));
            state = state.after(&Happening::Entered(stage)).unwrap();
            assert_eq!(state.standing, Standing::InHand);
            state = state.after(&Happening::Finished(stage)).unwrap();
        }
        assert_eq!(state.standing, Standing::Ready);
        assert_eq!(state.after(&Happening::HandedOver).unwrap().standing, Standing::HandedOver);
    }

    #[test]
    fn a_failure_at_any_stage_queues_the_next_attempt_for_print() {
        let mut state = State::QUEUED;
        for stage in Stage::ALL {
            let failed = state.after(&Happening::Failed(stage, "short".to_owned())).unwrap();
            assert_eq!(failed, State { attempt_n: 2, ..State::QUEUED });
            state = state.after(&Happening::Entered(stage)).unwrap();
            let failed = state.after(&Happening::Failed(stage, "short".to_owned())).unwrap();
            assert_eq!(failed.attempt_n, 2);
            state = state.after(&Happening::Finished(stage)).unwrap();
        }
        assert_eq!(
            state.after(&Happening::Failed(Stage::Finish, "late".to_owned())),
            None,
            "a ready piece does not fail"
        );
    }

    #[test]
    fn what_waits_for_burnout_may_fail_as_its_mould_sets() {
        let set = State { attempt_n: 1, stage: Stage::Burnout, standing: Standing::Waiting };
        let cracked = |stage| Happening::Failed(stage, "mould cracked".to_owned());
        let again = State { attempt_n: 2, ..State::QUEUED };
        assert_eq!(set.after(&cracked(Stage::Invest)), Some(again));
        assert_eq!(set.after(&cracked(Stage::Cure)), None);
        let fired = State { standing: Standing::InHand, ..set };
        assert_eq!(fired.after(&cracked(Stage::Invest)), None);
    }

    #[test]
    fn a_piece_goes_back_to_where_it_was_and_not_ahead() {
        let cured = State { attempt_n: 1, stage: Stage::Invest, standing: Standing::Waiting };
        let again = cured.after(&Happening::SentBack(Stage::Cure)).unwrap();
        assert_eq!(again, State { stage: Stage::Cure, ..cured });
        assert_eq!(again.after(&Happening::SentBack(Stage::Cure)), None, "it waits there already");
        assert_eq!(again.after(&Happening::SentBack(Stage::Cast)), None);
        let ready = State { attempt_n: 2, stage: Stage::Finish, standing: Standing::Ready };
        let again = ready.after(&Happening::SentBack(Stage::Finish)).unwrap();
        assert_eq!(again, State { standing: Standing::Waiting, ..ready });
        let gone = State { standing: Standing::HandedOver, ..ready };
        assert_eq!(gone.after(&Happening::SentBack(Stage::Finish)), None);
        assert_eq!(gone.after(&Happening::Moved), None);
    }

    #[test]
    fn nothing_happens_out_of_order() {
        for stage in Stage::ALL {
            assert_eq!(State::QUEUED.after(&Happening::Finished(stage)), None);
            assert_eq!(State::QUEUED.after(&Happening::Left(stage)), None);
            if stage != Stage::Print {
                assert_eq!(State::QUEUED.after(&Happening::Entered(stage)), None);
                assert_eq!(State::QUEUED.after(&Happening::Failed(stage, String::new())), None);
            }
        }
        assert_eq!(State::QUEUED.after(&Happening::HandedOver), None);
        let cancelled = State::QUEUED.after(&Happening::Cancelled).unwrap();
        assert_eq!(cancelled.after(&Happening::Entered(Stage::Print)), None);
    }
}
