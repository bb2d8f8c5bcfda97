//! What pages read about findings.

use sqlx::{FromRow, PgPool};
use uuid::Uuid;

use super::looks::{LOOKS, SHOWN_PIXELS};
use crate::clock::Moment;
use crate::id::AttemptId;
use crate::pieces::Stage;

/// Something that was found on a piece.
#[derive(Clone, Debug, FromRow)]
pub struct FindingRow {
    /// Which.
    pub id: Uuid,
    /// On which attempt.
    pub attempt_id: AttemptId,
    /// The piece's label.
    pub label: String,
    /// At which stage.
    pub stage: Stage,
    /// What it looks like.
    pub what: String,
    /// Where, in words.
    pub place: String,
    /// From where it is seen on a picture.
    pub view: Option<String>,
    x: Option<f64>,
    y: Option<f64>,
    /// Whether it can be mended.
    pub to_mend: bool,
    /// When it was mended.
    pub mended_at: Option<Moment>,
    /// When it was found.
    pub at: Moment,
    /// Who found it.
    pub person: Option<String>,
}

impl FindingRow {
    /// What and where, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let seen = self
            .view
            .as_ref()
            .and_then(|view| LOOKS.iter().find(|(look, _)| look == view))
            .map(|(_, words)| *words);
        let place = Some(self.place.as_str()).filter(|place| !place.is_empty());
        [Some(self.what.as_str()), place, seen].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// Whether it still has to be mended.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.to_mend && self.mended_at.is_none()
    }

    /// The place on its picture in pixels as shown, when it is this one.
    #[must_use]
    pub fn mark(&self, look: &str) -> Option<(f64, f64)> {
        let pixels = |share: f64| (share * f64::from(SHOWN_PIXELS)).round();
        (self.view.as_deref() == Some(look)).then_some(())?;
        Some((pixels(self.x?), pixels(self.y?)))
    }
}

const ROWS: &str = "SELECT f.id, f.attempt_id, p.label, f.stage::text AS stage, f.what, f.place, f.view, f.x, f.y, f.to_mend,
        f.mended_at, f.at, who.name AS person
    FROM findings f JOIN attempts t ON t.id = f.attempt_id JOIN pieces p ON p.id = t.piece_id
    LEFT JOIN people who ON who.id = f.person_id";

/// What was found on some attempts, the first found first.
pub async fn of_attempts(
    pool: &PgPool,
    attempts: &[AttemptId],
) -> Result<Vec<FindingRow>, sqlx::Error> {
    let sql = format!(
        "{ROWS} WHERE f.attempt_id = ANY($1) AND f.taken_back_at IS NULL ORDER BY p.label, f.at, f.id"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(attempts).fetch_all(pool).await
}

/// What was found on the last attempt at a piece.
pub async fn of_piece(pool: &PgPool, label: &str) -> Result<Vec<FindingRow>, sqlx::Error> {
    let sql = format!(
        "{ROWS} WHERE f.taken_back_at IS NULL AND f.attempt_id = (SELECT t.id FROM attempts t JOIN pieces p ON p.id = t.piece_id
            WHERE p.label = $1 ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1)
         ORDER BY f.at, f.id"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(label).fetch_all(pool).await
}
