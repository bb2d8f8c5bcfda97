//! What pages read about trials.

use foundry::yields::Tally;
use sqlx::{FromRow, PgExecutor, PgPool};
use uuid::Uuid;

use super::model::Setting;
use crate::clock::{Day, Moment};
use crate::id::AttemptId;
use crate::pieces::Stage;

/// A trial with how far it has come.
#[derive(Clone, Debug, FromRow)]
pub(super) struct TrialRow {
    pub(super) id: Uuid,
    pub(super) number: i32,
    pub(super) question: String,
    pub(super) setting: Setting,
    pub(super) first_arm: String,
    pub(super) second_arm: String,
    pub(super) stage: Stage,
    pub(super) first_yield: f64,
    pub(super) second_yield: f64,
    pub(super) power: f64,
    pub(super) each_arm: i32,
    pub(super) made_at: Moment,
    pub(super) ended_at: Option<Moment>,
    pub(super) version: i64,
    pub(super) drawn: i64,
    /// Whether its answer is the usual choice.
    pub(super) usual: bool,
}

const TRIALS: &str = "SELECT t.id, t.number, t.question, t.setting, t.first_arm, t.second_arm, t.stage::text AS stage, t.first_yield,
        t.second_yield, t.power, t.each_arm, t.made_at, t.ended_at, t.version,
        (SELECT count(*) FROM trial_pieces p WHERE p.trial_id = t.id) AS drawn,
        EXISTS (SELECT 1 FROM setting_defaults d WHERE d.trial_id = t.id) AS usual
    FROM trials t";

/// All trials, those under way first.
pub(super) async fn all(pool: &PgPool) -> Result<Vec<TrialRow>, sqlx::Error> {
    let sql = format!("{TRIALS} ORDER BY (t.ended_at IS NULL) DESC, t.number DESC LIMIT 200");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
}

pub(super) async fn load(pool: &PgPool, number: i32) -> Result<TrialRow, sqlx::Error> {
    let sql = format!("{TRIALS} WHERE t.number = $1");
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(number).fetch_one(pool).await
}

/// A piece of a trial.
#[derive(Clone, Debug, FromRow)]
pub(super) struct PieceRow {
    pub(super) label: String,
    pub(super) design: String,
    pub(super) arm: i16,
    /// Whether it came out well; none while it is not through the stage.
    pub(super) good: Option<bool>,
    /// Failed before the stage was reached: it says nothing.
    pub(super) lost_before: bool,
    /// Whether it was done as drawn; none where that is not recorded.
    pub(super) as_drawn: Option<bool>,
}

/// How an attempt came out at the trial’s stage; nothing while it is not through it.
const OUTCOME: &str = "(SELECT CASE WHEN g.failed_at IS NOT NULL THEN false WHEN g.finished_at IS NOT NULL THEN true END
      FROM attempt_stages g WHERE g.attempt_id = x.attempt_id AND g.stage = t.stage)";

/// The pieces of a trial in the order of the draw.
pub(super) async fn pieces(pool: &PgPool, trial: Uuid) -> Result<Vec<PieceRow>, sqlx::Error> {
    let sql = format!(
        "SELECT p.label, d.name AS design, x.arm, {OUTCOME} AS good,
                coalesce(a.outcome = 'failed', false) AND {OUTCOME} IS NULL AS lost_before,
                CASE t.setting
                    WHEN 'supports' THEN (SELECT b.supports FROM plate_pieces pp JOIN plates b ON b.id = pp.plate_id
                        WHERE pp.attempt_id = x.attempt_id AND b.started_at IS NOT NULL AND (pp.left_at IS NULL OR pp.left_at > b.started_at)
                        ORDER BY b.started_at DESC LIMIT 1)
                    WHEN 'medium' THEN (SELECT b.medium FROM cure_batch_pieces cp JOIN cure_batches b ON b.id = cp.cure_batch_id
                        WHERE cp.attempt_id = x.attempt_id AND b.state IN ('washing', 'curing', 'done') ORDER BY b.number DESC LIMIT 1)
                END = CASE x.arm WHEN 1 THEN t.first_arm ELSE t.second_arm END AS as_drawn
         FROM trial_pieces x JOIN trials t ON t.id = x.trial_id JOIN attempts a ON a.id = x.attempt_id JOIN pieces p ON p.id = a.piece_id
         JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         WHERE t.id = $1 ORDER BY x.n"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(trial).fetch_all(pool).await
}

/// Good and failed ones of both arms, counted as they were drawn, whatever was done then.
pub(super) async fn tallies(
    db: impl PgExecutor<'_>,
    trial: Uuid,
) -> Result<(Tally, Tally), sqlx::Error> {
    let sql = format!(
        "SELECT count(*) FILTER (WHERE arm = 1 AND good), count(*) FILTER (WHERE arm = 1 AND NOT good),
                count(*) FILTER (WHERE arm = 2 AND good), count(*) FILTER (WHERE arm = 2 AND NOT good)
         FROM (SELECT x.arm, {OUTCOME} AS good FROM trial_pieces x JOIN trials t ON t.id = x.trial_id WHERE t.id = $1) outcomes"
    );
    let counts: (i64, i64, i64, i64) =
        sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(trial).fetch_one(db).await?;
    let whole = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
    let tally = |good, bad| Tally { good: whole(good), bad: whole(bad) };
    Ok((tally(counts.0, counts.1), tally(counts.2, counts.3)))
}

/// A piece that may be drawn.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Waiting {
    pub(super) attempt: AttemptId,
    pub(super) label: String,
    pub(super) design: String,
    pub(super) client: String,
    pub(super) stage: Stage,
    pub(super) due_on: Option<Day>,
}

/// Pieces that wait before the stage that is tried and are in no trial.
pub(super) async fn waiting(
    pool: &PgPool,
    setting: Setting,
    most: i64,
) -> Result<Vec<Waiting>, sqlx::Error> {
    sqlx::query_as(
        "SELECT t.id AS attempt, p.label, d.name AS design, c.name AS client, p.stage::text AS stage, o.due_on
         FROM pieces p JOIN attempts t ON t.piece_id = p.id AND t.ended_at IS NULL JOIN orders o ON o.id = p.order_id
         JOIN clients c ON c.id = o.client_id JOIN order_lines l ON l.id = p.order_line_id
         JOIN design_versions v ON v.id = l.design_version_id JOIN designs d ON d.id = v.design_id
         WHERE p.standing = 'waiting' AND ($1::text IS NULL OR p.stage = $1)
           AND NOT EXISTS (SELECT 1 FROM trial_pieces x WHERE x.attempt_id = t.id)
         ORDER BY o.due_on NULLS LAST, o.number, p.n LIMIT $2",
    )
    .bind(setting.drawn_before().map(Stage::name))
    .bind(most)
    .fetch_all(pool)
    .await
}

/// What is chosen for a setting unless somebody chooses otherwise, by which trial.
#[derive(Clone, Debug, FromRow)]
pub struct Usual {
    /// The value.
    pub value: String,
    /// The trial's number.
    pub trial: i32,
    /// What it asked.
    pub question: String,
}

impl Usual {
    /// The line shown wherever the setting is chosen.
    #[must_use]
    pub fn words(&self) -> String {
        format!("Usual here: {}, by trial {} ({}).", self.value, self.trial, self.question)
    }
}

/// The usual choice of a setting; none where no trial has answered.
pub async fn usual(pool: &PgPool, setting: Setting) -> Result<Option<Usual>, sqlx::Error> {
    sqlx::query_as(
        "SELECT d.value, t.number AS trial, t.question FROM setting_defaults d JOIN trials t ON t.id = d.trial_id
         WHERE d.setting = $1",
    )
    .bind(setting)
    .fetch_optional(pool)
    .await
}

/// How a piece was drawn.
#[derive(Clone, Debug, FromRow)]
pub struct DrawnPiece {
    /// The attempt.
    pub attempt: AttemptId,
    /// The trial's number.
    pub trial: i32,
    /// What is to be done with it.
    pub arm: String,
}

/// Pieces drawn for a setting whose trial is under way; each is to be done as it was drawn.
pub async fn drawn(pool: &PgPool, setting: Setting) -> Result<Vec<DrawnPiece>, sqlx::Error> {
    sqlx::query_as(
        "SELECT x.attempt_id AS attempt, t.number AS trial, CASE x.arm WHEN 1 THEN t.first_arm ELSE t.second_arm END AS arm
         FROM trials t JOIN trial_pieces x ON x.trial_id = t.id JOIN attempts a ON a.id = x.attempt_id AND a.ended_at IS NULL
         WHERE t.setting = $1 AND t.ended_at IS NULL",
    )
    .bind(setting)
    .fetch_all(pool)
    .await
}
