//! Recording what happened to pieces, inside the caller's transaction.

use serde_json::Value;
use sqlx::PgConnection;

use super::model::{Happening, PieceRefusal, State};
use super::store::{self, LockedPiece};
use crate::clock::Moment;
use crate::id::{OrderId, PersonId, PieceId};
use crate::web::{Fault, Refused};

/// Who did it, when, in which batch.
#[derive(Clone, Debug)]
pub struct Act<'a> {
    /// When.
    pub now: Moment,
    /// Who; none for what the client or the program did.
    pub person: Option<PersonId>,
    /// The batch, such as `plate:17`, `cure:9`, `flask:214`, `load:88`.
    pub batch: Option<&'a str>,
    /// In their own words.
    pub note: &'a str,
    /// Whatever was measured.
    pub detail: Value,
}

impl<'a> Act<'a> {
    /// An act with nothing further to say.
    #[must_use]
    pub fn new(now: Moment, person: Option<PersonId>) -> Self {
        Self { now, person, batch: None, note: "", detail: Value::Object(serde_json::Map::new()) }
    }

    /// The act happened in a batch.
    #[must_use]
    pub fn in_batch(mut self, batch: &'a str) -> Self {
        self.batch = Some(batch);
        self
    }

    /// Adds a note.
    #[must_use]
    pub fn noting(mut self, note: &'a str) -> Self {
        self.note = note;
        self
    }

    /// Adds what was measured.
    #[must_use]
    pub fn with(mut self, detail: Value) -> Self {
        self.detail = detail;
        self
    }
}

/// Why an act on pieces did not go through.
#[derive(Debug, thiserror::Error)]
pub enum ActFault {
    /// It cannot happen as things stand.
    #[error(transparent)]
    Refused(#[from] PieceRefusal),
    /// The database failed.
    #[error(transparent)]
    Database(#[from] sqlx::Error),
}

impl From<ActFault> for Fault {
    fn from(fault: ActFault) -> Self {
        match fault {
            ActFault::Refused(refusal) => Self::Refused(Refused::from(refusal)),
            ActFault::Database(error) => Self::from(error),
        }
    }
}

/// A piece after something happened to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recorded {
    /// Which piece.
    pub piece: PieceId,
    /// Its label.
    pub label: String,
    /// How it stands now.
    pub state: State,
}

/// Records the same happening for several pieces: for all of them or for none.
pub async fn record(
    conn: &mut PgConnection,
    pieces: &[PieceId],
    happening: &Happening,
    act: &Act<'_>,
) -> Result<Vec<Recorded>, ActFault> {
    let locked = store::lock(conn, pieces).await?;
    if locked.len() != pieces.len() {
        return Err(sqlx::Error::RowNotFound.into());
    }
    let mut recorded = Vec::with_capacity(locked.len());
    for piece in locked {
        recorded.push(record_one(conn, piece, happening, act).await?);
    }
    Ok(recorded)
}

async fn record_one(
    conn: &mut PgConnection,
    piece: LockedPiece,
    happening: &Happening,
    act: &Act<'_>,
) -> Result<Recorded, ActFault> {
    if let Happening::Failed(_, cause) = happening
        && cause.trim().is_empty()
    {
        return Err(PieceRefusal::NoCause { label: piece.label }.into());
    }
    let before = piece.state();
    let Some(state) = before.after(happening) else {
        return Err(PieceRefusal::NotThere {
            label: piece.label,
            now_words: before.words(),
            wanted: wanted(happening),
        }
        .into());
    };
    let attempt = store::open_attempt(conn, piece.id).await?;
    let stage = match happening {
        Happening::SentBack(to) => *to,
        _ => before.stage,
    };
    let mut version = store::add_event(conn, piece.id, attempt, happening, stage, act).await?;
    store::write_box(conn, attempt, happening, stage, act).await?;
    match happening {
        Happening::Failed(stage, cause) => {
            store::end_attempt(conn, attempt, "failed", Some((*stage, cause)), act.now).await?;
            version = store::add_queued(conn, piece.id, state.attempt_n, act).await?;
        }
        Happening::Cancelled => {
            store::end_attempt(conn, attempt, "cancelled", None, act.now).await?
        }
        Happening::HandedOver => store::end_attempt(conn, attempt, "good", None, act.now).await?,
        _ => {}
    }
    store::write_state(conn, piece.id, state, version, act.now).await?;
    Ok(Recorded { piece: piece.id, label: piece.label, state })
}

fn wanted(happening: &Happening) -> String {
    match happening {
        Happening::Entered(stage) => format!("begin {stage}"),
        Happening::Left(stage) => format!("be taken out of {stage}"),
        Happening::Finished(stage) => format!("finish {stage}"),
        Happening::Failed(stage, _) => format!("fail at {stage}"),
        Happening::SentBack(stage) => format!("go back to {stage}"),
        Happening::Moved => "go to another order".to_owned(),
        Happening::HandedOver => "be handed over".to_owned(),
        Happening::Cancelled => "be cancelled".to_owned(),
        Happening::Noted => "be noted".to_owned(),
    }
}

/// Makes the pieces of an agreed order, one for each copy of each line, and
/// queues their first attempts. Returns how many.
pub async fn create_for_order(
    conn: &mut PgConnection,
    order: OrderId,
    order_number: i32,
    act: &Act<'_>,
) -> Result<usize, sqlx::Error> {
    let mut n = 0;
    for line in store::lines_of(conn, order).await? {
        for _ in 0..line.quantity {
            n += 1;
            let label = format!("{order_number}-{n}");
            let piece = store::add_piece(conn, order, line.id, n, &label, act.now).await?;
            let version = store::add_queued(conn, piece, 1, act).await?;
            store::write_state(conn, piece, State::QUEUED, version, act.now).await?;
        }
    }
    Ok(usize::try_from(n).unwrap_or(0))
}
