//! All SQL that writes findings.

use sqlx::{PgConnection, PgExecutor};
use uuid::Uuid;

use crate::clock::Moment;
use crate::id::{AttemptId, PersonId};
use crate::pieces::Stage;

/// Something that was found.
#[derive(Clone, Copy, Debug)]
pub struct NewFinding<'a> {
    /// On which attempt at a piece.
    pub attempt: AttemptId,
    /// At which stage.
    pub stage: Stage,
    /// What it looks like.
    pub what: &'a str,
    /// Where, in words; may be empty.
    pub place: &'a str,
    /// Where on a picture: from where it is looked at, and the place in shares of its sides.
    pub pointed: Option<(&'static str, f64, f64)>,
    /// Whether it can be mended.
    pub to_mend: bool,
}

/// Notes a finding.
pub async fn add(
    conn: &mut PgConnection,
    finding: NewFinding<'_>,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO findings (id, attempt_id, stage, what, place, view, x, y, to_mend, at, person_id)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
    )
    .bind(Uuid::now_v7())
    .bind(finding.attempt)
    .bind(finding.stage)
    .bind(finding.what)
    .bind(finding.place)
    .bind(finding.pointed.map(|(look, ..)| look))
    .bind(finding.pointed.map(|(_, x, _)| x))
    .bind(finding.pointed.map(|(.., y)| y))
    .bind(finding.to_mend)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// The piece's stage and the attempt at it that is under way, or the last one.
pub(super) async fn attempt_of(
    conn: &mut PgConnection,
    label: &str,
) -> Result<(AttemptId, Stage), sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id, p.stage::text FROM pieces p JOIN attempts t ON t.piece_id = p.id WHERE p.label = $1
         ORDER BY (t.ended_at IS NULL) DESC, t.ended_at DESC LIMIT 1",
    )
    .bind(label)
    .fetch_one(conn)
    .await
}

/// Marks a finding mended; says whether it was still to be.
pub(super) async fn mend(
    conn: &mut PgConnection,
    label: &str,
    id: Uuid,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE findings f SET mended_at = $3 FROM attempts t JOIN pieces p ON p.id = t.piece_id
         WHERE f.id = $2 AND t.id = f.attempt_id AND p.label = $1
           AND f.to_mend AND f.mended_at IS NULL AND f.taken_back_at IS NULL",
    )
    .bind(label)
    .bind(id)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a finding back that was noted by mistake, or that it was mended.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    label: &str,
    id: Uuid,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE findings f SET taken_back_at = CASE WHEN f.mended_at IS NULL THEN $3 END, mended_at = NULL
         FROM attempts t JOIN pieces p ON p.id = t.piece_id
         WHERE f.id = $2 AND t.id = f.attempt_id AND p.label = $1 AND f.taken_back_at IS NULL",
    )
    .bind(label)
    .bind(id)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// What on an attempt is still to be mended.
pub async fn not_mended(
    db: impl PgExecutor<'_>,
    attempt: AttemptId,
) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT what FROM findings WHERE attempt_id = $1 AND to_mend AND mended_at IS NULL AND taken_back_at IS NULL
         ORDER BY at, id",
    )
    .bind(attempt)
    .fetch_all(db)
    .await
}
