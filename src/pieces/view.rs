//! What pages read about pieces, beside their route cards.

use sqlx::{FromRow, PgPool};

use super::card::{CardBox, RouteCard, box_rows, boxes_of};
use super::model::Stage;
use crate::clock::Moment;
use crate::id::AttemptId;

/// The words offered for a failure at a stage; others may be typed.
pub async fn causes(pool: &PgPool, stage: Stage) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar("SELECT name FROM causes WHERE stage = $1 ORDER BY n, name")
        .bind(stage)
        .fetch_all(pool)
        .await
}

/// One attempt at a piece.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// Counts from 1.
    pub n: i32,
    /// When it was queued.
    pub begun_at: Moment,
    /// When it ended; none while it is under way.
    pub ended_at: Option<Moment>,
    /// Where it failed.
    pub failed_at_stage: Option<Stage>,
    /// What the failure looked like.
    pub cause: Option<String>,
    /// Its six boxes.
    pub boxes: Vec<CardBox>,
}

#[derive(FromRow)]
struct AttemptRow {
    id: AttemptId,
    n: i32,
    begun_at: Moment,
    ended_at: Option<Moment>,
    failed_at_stage: Option<Stage>,
    cause: Option<String>,
}

/// All attempts at a piece, the last first, without those that were queued by mistake.
pub async fn attempts(pool: &PgPool, card: &RouteCard) -> Result<Vec<Attempt>, sqlx::Error> {
    let rows: Vec<AttemptRow> = sqlx::query_as(
        "SELECT t.id, t.n, t.begun_at, t.ended_at, t.failed_at_stage::text AS failed_at_stage, t.cause
         FROM attempts t WHERE t.piece_id = $1
           AND NOT EXISTS (SELECT 1 FROM piece_events q JOIN piece_events u ON u.undoes = q.id
                           WHERE q.attempt_id = t.id AND q.kind = 'queued')
         ORDER BY t.n DESC",
    )
    .bind(card.piece)
    .fetch_all(pool)
    .await?;
    let ids: Vec<AttemptId> = rows.iter().map(|row| row.id).collect();
    let boxes = box_rows(pool, &ids).await?;
    let attempt = |row: AttemptRow| {
        let now = row.ended_at.is_none().then_some((card.stage, card.standing));
        Attempt {
            n: row.n,
            begun_at: row.begun_at,
            ended_at: row.ended_at,
            failed_at_stage: row.failed_at_stage,
            cause: row.cause,
            boxes: boxes_of(&boxes, row.id, now),
        }
    };
    Ok(rows.into_iter().map(attempt).collect())
}
