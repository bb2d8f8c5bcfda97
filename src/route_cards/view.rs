//! What pages of pieces read beside the route cards themselves.

use sqlx::{FromRow, PgPool};

use crate::clock::Moment;
use crate::id::PieceId;
use crate::pieces::{Cards, Filter, RouteCard, Stage, Standing};
use crate::timers;

/// The card of one piece.
pub(super) async fn card(pool: &PgPool, label: &str) -> Result<RouteCard, sqlx::Error> {
    let filter = Filter { label: Some(label.to_owned()), ..Filter::default() };
    let mut found = Cards::find(pool, &filter, 1).await?;
    found.cards.pop().ok_or(sqlx::Error::RowNotFound)
}

/// Something that happened to a piece.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Event {
    kind: String,
    stage: Stage,
    pub(super) at: Moment,
    pub(super) attempt_n: i32,
    pub(super) person: Option<String>,
    pub(super) batch: Option<String>,
    cause: Option<String>,
    pub(super) note: String,
    /// Whether it was taken back later.
    pub(super) undone: bool,
    undone_kind: Option<String>,
    undone_stage: Option<Stage>,
}

impl Event {
    /// What happened, in words.
    pub(super) fn words(&self) -> String {
        match (self.kind.as_str(), self.undone_kind.as_deref(), self.undone_stage) {
            ("undone", Some(kind), Some(stage)) => {
                format!("Taken back: {}", words_of(kind, stage, 1, None).to_lowercase())
            }
            (kind, ..) => words_of(kind, self.stage, self.attempt_n, self.cause.as_deref()),
        }
    }

    pub(super) fn batch_words(&self) -> Option<String> {
        Some(self.batch.as_deref()?.replacen(':', " ", 1))
    }

    pub(super) fn batch_path(&self) -> Option<String> {
        timers::subject_path(self.batch.as_deref()?)
    }
}

fn words_of(kind: &str, stage: Stage, attempt_n: i32, cause: Option<&str>) -> String {
    let words = match (kind, stage) {
        ("queued", _) if attempt_n > 1 => return format!("Attempt {attempt_n} waits for print"),
        ("queued", _) => "Waits for print",
        ("entered", Stage::Print) => "Print began",
        ("entered", Stage::Cure) => "Wash and cure began",
        ("entered", Stage::Invest) => "Put on a tree",
        ("entered", Stage::Burnout) => "Burnout began",
        ("entered", Stage::Cast) => "Poured",
        ("entered", Stage::Finish) => "Finishing began",
        ("finished", Stage::Print) => "Printed",
        ("finished", Stage::Cure) => "Cured",
        ("finished", Stage::Invest) => "Invested and left to set",
        ("finished", Stage::Burnout) => "Burnt out, hot",
        ("finished", Stage::Cast) => "Cast",
        ("finished", Stage::Finish) => "Finished and passed",
        ("left", _) => return format!("Taken out of {stage} again"),
        ("failed", _) => {
            return match cause {
                Some(cause) => format!("Failed at {stage}: {cause}"),
                None => format!("Failed at {stage}"),
            };
        }
        ("sent_back", _) => return format!("Sent back to {stage}"),
        ("swapped", _) => "Changed places with another piece",
        ("moved", _) => "Went to another order",
        ("handed_over", _) => "Handed over",
        ("cancelled", _) => "Cancelled",
        ("noted", _) => "Noted",
        _ => "Taken back",
    };
    words.to_owned()
}

/// What happened to a piece, newest first.
pub(super) async fn events(pool: &PgPool, piece: PieceId) -> Result<Vec<Event>, sqlx::Error> {
    sqlx::query_as(
        "SELECT e.kind, e.stage::text AS stage, e.at, t.n AS attempt_n, w.name AS person, e.batch,
                e.cause, e.note, EXISTS (SELECT 1 FROM piece_events u WHERE u.undoes = e.id) AS undone,
                b.kind AS undone_kind, b.stage::text AS undone_stage
         FROM piece_events e JOIN attempts t ON t.id = e.attempt_id
         LEFT JOIN people w ON w.id = e.person_id LEFT JOIN piece_events b ON b.id = e.undoes
         WHERE e.piece_id = $1 ORDER BY e.id DESC LIMIT 500",
    )
    .bind(piece)
    .fetch_all(pool)
    .await
}

/// What would be taken back now, in words; none when nothing can be.
pub(super) fn undoable(card: &RouteCard, events: &[Event]) -> Option<String> {
    let last = events
        .iter()
        .find(|event| !event.undone && event.kind != "undone" && event.kind != "noted")?;
    match (last.kind.as_str(), card.standing) {
        ("queued", Standing::Waiting) if last.attempt_n > 1 => {
            Some(format!("that attempt {} failed", last.attempt_n - 1))
        }
        ("finished", Standing::Ready) => Some("that it is finished".to_owned()),
        ("handed_over", _) => Some("that it is handed over".to_owned()),
        ("cancelled", _) => Some("that it is cancelled".to_owned()),
        _ => None,
    }
}

/// What the ticket says beside the card.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Details {
    pub(super) line_note: String,
    pub(super) order_note: String,
    pub(super) box_x_mm: f64,
    pub(super) box_y_mm: f64,
    pub(super) box_z_mm: f64,
    pub(super) volume_mm3: Option<f64>,
    pub(super) version_n: i32,
    pub(super) of: i64,
    pub(super) n: i32,
}

pub(super) async fn details(pool: &PgPool, piece: PieceId) -> Result<Details, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.note AS line_note, o.note AS order_note, v.box_x_mm, v.box_y_mm, v.box_z_mm, v.volume_mm3,
                v.n AS version_n, p.n,
                (SELECT count(*) FROM pieces q WHERE q.order_id = p.order_id) AS of
         FROM pieces p JOIN orders o ON o.id = p.order_id JOIN order_lines l ON l.id = p.order_line_id
         JOIN design_versions v ON v.id = l.design_version_id WHERE p.id = $1",
    )
    .bind(piece)
    .fetch_one(pool)
    .await
}
