//! All SQL that writes trials.

use sqlx::{FromRow, PgConnection};
use uuid::Uuid;

use super::forms::TrialForm;
use super::model::Setting;
use crate::clock::Moment;
use crate::id::{AttemptId, PersonId};

/// A trial held for the rest of the transaction.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Locked {
    pub(super) id: Uuid,
    pub(super) setting: Setting,
    pub(super) first_arm: String,
    pub(super) second_arm: String,
    pub(super) each_arm: i32,
    pub(super) seed: i64,
    pub(super) version: i64,
    pub(super) ended_at: Option<Moment>,
    pub(super) drawn: i32,
}

pub(super) async fn lock(conn: &mut PgConnection, number: i32) -> Result<Locked, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, setting, first_arm, second_arm, each_arm, seed, version, ended_at,
                (SELECT count(*)::int FROM trial_pieces p WHERE p.trial_id = t.id) AS drawn
         FROM trials t WHERE number = $1 FOR UPDATE",
    )
    .bind(number)
    .fetch_one(conn)
    .await
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    trial: &TrialForm,
    seed: i64,
    person: PersonId,
    now: Moment,
) -> Result<i32, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO trials (id, question, setting, first_arm, second_arm, stage, first_yield, second_yield, power,
             each_arm, seed, made_by, made_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13) RETURNING number",
    )
    .bind(Uuid::now_v7())
    .bind(&trial.question)
    .bind(trial.setting)
    .bind(&trial.first_arm)
    .bind(&trial.second_arm)
    .bind(trial.stage)
    .bind(trial.first_yield)
    .bind(trial.second_yield)
    .bind(trial.power)
    .bind(trial.each)
    .bind(seed)
    .bind(person)
    .bind(now)
    .fetch_one(conn)
    .await
}

/// Attempts that may still be drawn: they wait, before the stage that is tried.
pub(super) async fn waiting(
    conn: &mut PgConnection,
    attempts: &[AttemptId],
    setting: Setting,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(*) FROM (SELECT 1 FROM attempts t JOIN pieces p ON p.id = t.piece_id
         WHERE t.id = ANY($1) AND t.ended_at IS NULL AND p.standing = 'waiting' AND ($2::text IS NULL OR p.stage = $2)
         FOR UPDATE OF p) held",
    )
    .bind(attempts)
    .bind(setting.drawn_before().map(crate::pieces::Stage::name))
    .fetch_one(conn)
    .await
}

pub(super) async fn draw(
    conn: &mut PgConnection,
    trial: Uuid,
    attempt: AttemptId,
    n: i32,
    arm: i16,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO trial_pieces (trial_id, attempt_id, n, arm, drawn_at) VALUES ($1, $2, $3, $4, $5)")
        .bind(trial)
        .bind(attempt)
        .bind(n)
        .bind(arm)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}

/// Counts a change; `ended_at` once nothing more is drawn.
pub(super) async fn touch(
    conn: &mut PgConnection,
    trial: Uuid,
    ended_at: Option<Moment>,
) -> Result<(), sqlx::Error> {
    sqlx::query("UPDATE trials SET ended_at = $2, version = version + 1 WHERE id = $1")
        .bind(trial)
        .bind(ended_at)
        .execute(conn)
        .await?;
    Ok(())
}

pub(super) async fn set_usual(
    conn: &mut PgConnection,
    setting: Setting,
    value: &str,
    trial: Uuid,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO setting_defaults (setting, value, trial_id, set_by, set_at) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (setting) DO UPDATE SET value = EXCLUDED.value, trial_id = EXCLUDED.trial_id,
             set_by = EXCLUDED.set_by, set_at = EXCLUDED.set_at",
    )
    .bind(setting)
    .bind(value)
    .bind(trial)
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

pub(super) async fn unset_usual(conn: &mut PgConnection, trial: Uuid) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM setting_defaults WHERE trial_id = $1")
        .bind(trial)
        .execute(conn)
        .await?;
    Ok(())
}
