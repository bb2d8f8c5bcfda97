//! The table of jobs: asked for, claimed, told about, finished.

use serde_json::Value;
use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};

use crate::clock::Moment;
use crate::id::JobId;

/// A worker that was not heard of for so long is taken for gone.
const SILENT_S: f64 = 20.0;
/// A job whose workers went as often as this is given up, for it may be what they died of.
const MOST_ATTEMPTS: i32 = 3;

/// A job that was claimed.
#[derive(Clone, Debug, FromRow)]
pub struct Job {
    /// Which.
    pub id: JobId,
    /// What kind of work.
    pub kind: String,
    /// What to work on.
    pub input: Value,
    /// How often it was claimed; with the worker's name it says whose it is.
    pub attempts: i32,
}

/// Where a job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Nobody has it yet.
    Waiting,
    /// A worker has it.
    Running,
    /// Its result is there.
    Done,
    /// It gave nothing, and would give nothing again.
    Failed,
    /// Somebody called it off.
    Cancelled,
}

/// A job as a page shows it.
#[derive(Clone, Debug, FromRow)]
pub struct Standing {
    /// Which.
    pub id: JobId,
    state: String,
    /// Share done, 0 to 1.
    pub progress: f32,
    /// What is being done.
    pub doing: String,
    /// What came out.
    pub result: Option<Value>,
    /// Why nothing did, as a sentence.
    pub error: Option<String>,
}

impl Standing {
    /// Where it stands.
    #[must_use]
    pub fn state(&self) -> State {
        match self.state.as_str() {
            "waiting" => State::Waiting,
            "running" => State::Running,
            "done" => State::Done,
            "cancelled" => State::Cancelled,
            _ => State::Failed,
        }
    }

    /// Whether something is still to come.
    #[must_use]
    pub fn open(&self) -> bool {
        matches!(self.state(), State::Waiting | State::Running)
    }
}

/// Asks for a job. One that is there already stays as it is, unless it had failed or was called
/// off. Jobs of lower rank go first, and of one rank the newest: whoever just tried something
/// waits for it.
pub async fn ask(
    conn: &mut PgConnection,
    kind: &str,
    key: &str,
    input: &Value,
    rank: i16,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO jobs (id, kind, key, input, rank, created_at) VALUES ($1, $2, $3, $4, $5, $6)
         ON CONFLICT (kind, key) DO UPDATE SET state = 'waiting', input = excluded.input, rank = excluded.rank,
             progress = 0, doing = '', attempts = 0, error = NULL, cancel_asked_at = NULL, finished_at = NULL,
             created_at = excluded.created_at
         WHERE jobs.state IN ('failed', 'cancelled')",
    )
    .bind(JobId::new())
    .bind(kind)
    .bind(key)
    .bind(input)
    .bind(rank)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Where a job stands; none when nobody has asked for it.
pub async fn standing(
    db: impl PgExecutor<'_>,
    kind: &str,
    key: &str,
) -> Result<Option<Standing>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, state, progress, doing, result, error FROM jobs WHERE kind = $1 AND key = $2",
    )
    .bind(kind)
    .bind(key)
    .fetch_optional(db)
    .await
}

/// Calls off a job that is not finished: at once while it waits, and when its worker next asks
/// while it runs.
pub async fn cancel(
    conn: &mut PgConnection,
    kind: &str,
    key: &str,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE jobs SET cancel_asked_at = $3,
             state = CASE state WHEN 'waiting' THEN 'cancelled' ELSE state END,
             finished_at = CASE state WHEN 'waiting' THEN $3 END
         WHERE kind = $1 AND key = $2 AND state IN ('waiting', 'running')",
    )
    .bind(kind)
    .bind(key)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes the next job of these kinds, or one whose worker fell silent.
pub(super) async fn claim(
    pool: &PgPool,
    worker: &str,
    kinds: &[&str],
    now: Moment,
) -> Result<Option<Job>, sqlx::Error> {
    let mut tx = pool.begin().await?;
    sqlx::query(
        "UPDATE jobs SET state = CASE WHEN cancel_asked_at IS NULL THEN 'failed' ELSE 'cancelled' END, finished_at = $1,
             error = CASE WHEN cancel_asked_at IS NULL THEN
                 'It broke off ' || attempts || ' times, each time with the program that worked on it. Make the model lighter, or ask again.' END
         WHERE id IN (SELECT id FROM jobs
             WHERE state = 'running' AND alive_at < clock_timestamp() - make_interval(secs => $2)
               AND (cancel_asked_at IS NOT NULL OR attempts >= $3) FOR UPDATE SKIP LOCKED)",
    )
    .bind(now)
    .bind(SILENT_S)
    .bind(MOST_ATTEMPTS)
    .execute(&mut *tx)
    .await?;
    let job = sqlx::query_as(
        "UPDATE jobs SET state = 'running', claimed_by = $1, claimed_at = $4, alive_at = clock_timestamp(),
             attempts = attempts + 1, progress = 0, doing = ''
         WHERE id = (SELECT id FROM jobs
             WHERE kind = ANY($2) AND (state = 'waiting'
                OR state = 'running' AND alive_at < clock_timestamp() - make_interval(secs => $3))
             ORDER BY rank, created_at DESC, id DESC LIMIT 1 FOR UPDATE SKIP LOCKED)
         RETURNING id, kind, input, attempts",
    )
    .bind(worker)
    .bind(kinds)
    .bind(SILENT_S)
    .bind(now)
    .fetch_optional(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(job)
}

/// What a worker hears when it says that it is alive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Heard {
    /// Go on.
    GoOn,
    /// Somebody called the job off.
    CalledOff,
    /// The job is another worker's by now.
    Lost,
}

/// Says that a worker is alive and how far it has come.
pub(super) async fn alive(
    pool: &PgPool,
    job: &Job,
    worker: &str,
    doing: &str,
    progress: f32,
) -> Result<Heard, sqlx::Error> {
    let asked: Option<bool> = sqlx::query_scalar(
        "UPDATE jobs SET alive_at = clock_timestamp(), doing = $4, progress = $5
         WHERE id = $1 AND claimed_by = $2 AND attempts = $3 AND state = 'running'
         RETURNING cancel_asked_at IS NOT NULL",
    )
    .bind(job.id)
    .bind(worker)
    .bind(job.attempts)
    .bind(doing)
    .bind(progress.clamp(0.0, 1.0))
    .fetch_optional(pool)
    .await?;
    Ok(match asked {
        Some(false) => Heard::GoOn,
        Some(true) => Heard::CalledOff,
        None => Heard::Lost,
    })
}

/// How a job ends.
#[derive(Clone, Debug)]
pub(super) enum End {
    Done(Value),
    Failed(String),
    Cancelled,
    /// The program stops; another may take the job at once.
    PutBack,
}

/// Ends a job, if it is still this worker's.
pub(super) async fn end(
    pool: &PgPool,
    job: &Job,
    worker: &str,
    end: End,
    now: Moment,
) -> Result<(), sqlx::Error> {
    let (state, result, error, back) = match end {
        End::Done(result) => ("done", Some(result), None, 0),
        End::Failed(why) => ("failed", None, Some(why), 0),
        End::Cancelled => ("cancelled", None, None, 0),
        End::PutBack => ("waiting", None, None, 1),
    };
    sqlx::query(
        "UPDATE jobs SET state = $4, result = $5, error = $6, attempts = attempts - $7, doing = '',
             progress = CASE $4 WHEN 'done' THEN 1 ELSE 0 END,
             finished_at = CASE WHEN $4 <> 'waiting' THEN $8 END
         WHERE id = $1 AND claimed_by = $2 AND attempts = $3 AND state = 'running'",
    )
    .bind(job.id)
    .bind(worker)
    .bind(job.attempts)
    .bind(state)
    .bind(result)
    .bind(error)
    .bind(back)
    .bind(now)
    .execute(pool)
    .await?;
    Ok(())
}
