//! Clocks that count how long a step is worked on.

use sqlx::{FromRow, PgConnection, PgPool};
use uuid::Uuid;

use super::sheets;
use super::store::{self, Subject};
use crate::clock::Moment;
use crate::id::PersonId;
use crate::pieces::Stage;

/// What the clocks of a step have counted that is not recorded yet.
#[derive(Clone, Debug, Default, PartialEq, FromRow)]
pub(super) struct Count {
    pub(super) step: String,
    /// Counted by those that were stopped.
    stopped_s: i64,
    /// Since when one runs; none while none does.
    pub(super) running_since: Option<Moment>,
}

impl Count {
    /// All of it up to now, to tenths of a minute.
    pub(super) fn minutes(&self, now: Moment) -> f64 {
        let running = self.running_since.map_or(0, |since| now.seconds_since(since).max(0));
        ((self.stopped_s + running) as f64 / 6.0).round() / 10.0
    }

    /// The moment from which it would have counted without a pause.
    pub(super) fn as_if_since(&self) -> Option<Moment> {
        Some(self.running_since?.plus_seconds(-self.stopped_s))
    }
}

const COUNTS: &str = "SELECT step, coalesce(sum(extract(epoch FROM stopped_at - started_at)), 0)::bigint AS stopped_s,
        max(started_at) FILTER (WHERE stopped_at IS NULL) AS running_since
    FROM step_clocks WHERE subject = $1 AND stage = $2 AND attempt_id IS NOT DISTINCT FROM $3 AND used_by IS NULL";

/// What the clocks of a subject's steps have counted, step by step.
pub(super) async fn counts(pool: &PgPool, subject: &Subject) -> Result<Vec<Count>, sqlx::Error> {
    sqlx::query_as(sqlx::AssertSqlSafe(format!("{COUNTS} GROUP BY step")))
        .bind(&subject.name)
        .bind(subject.stage)
        .bind(subject.attempt)
        .fetch_all(pool)
        .await
}

/// What the clocks of one step have counted; none where none was started.
pub(super) async fn count_of(
    pool: &PgPool,
    subject: &Subject,
    step: &str,
) -> Result<Option<Count>, sqlx::Error> {
    Ok(counts(pool, subject).await?.into_iter().find(|count| count.step == step))
}

/// Starts the clock of a step; one that runs already runs on.
pub(super) async fn start(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &str,
    now: Moment,
    person: PersonId,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO step_clocks (id, stage, subject, attempt_id, step, started_at, started_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING",
    )
    .bind(Uuid::now_v7())
    .bind(subject.stage)
    .bind(&subject.name)
    .bind(subject.attempt)
    .bind(step)
    .bind(now)
    .bind(person)
    .execute(conn)
    .await?;
    Ok(())
}

/// Stops the clock of a step; one that was stopped already stays as it is.
pub(super) async fn stop(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &str,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE step_clocks SET stopped_at = greatest($5, started_at) WHERE subject = $1 AND stage = $2
           AND attempt_id IS NOT DISTINCT FROM $3 AND step = $4 AND stopped_at IS NULL",
    )
    .bind(&subject.name)
    .bind(subject.stage)
    .bind(subject.attempt)
    .bind(step)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Throws away what the clocks of a step have counted and was not recorded.
pub(super) async fn forget(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "DELETE FROM step_clocks WHERE subject = $1 AND stage = $2 AND attempt_id IS NOT DISTINCT FROM $3
           AND step = $4 AND stopped_at IS NOT NULL AND used_by IS NULL",
    )
    .bind(&subject.name)
    .bind(subject.stage)
    .bind(subject.attempt)
    .bind(step)
    .execute(conn)
    .await?;
    Ok(())
}

/// What the clocks of a step counted went into a record of it.
pub(super) async fn use_up(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &str,
    record: Uuid,
    now: Moment,
) -> Result<(), sqlx::Error> {
    stop(conn, subject, step, now).await?;
    sqlx::query(
        "UPDATE step_clocks SET used_by = $5 WHERE subject = $1 AND stage = $2
           AND attempt_id IS NOT DISTINCT FROM $3 AND step = $4 AND used_by IS NULL",
    )
    .bind(&subject.name)
    .bind(subject.stage)
    .bind(subject.attempt)
    .bind(step)
    .bind(record)
    .execute(conn)
    .await?;
    Ok(())
}

/// A step on which somebody works by the clock.
#[derive(Clone, Debug)]
pub struct AtWork {
    /// What is done.
    pub words: &'static str,
    /// On what, such as `piece 1042-3`.
    pub of: String,
    /// The page of its sheet.
    pub place: String,
    /// What its taps post to, such as `/steps/finish/1042-3/polished`.
    pub action: String,
    /// Since when its clock runs.
    pub since: Moment,
    /// The moment from which it would have counted without a pause.
    pub counts_from: Moment,
    /// Who started it.
    pub person: Option<String>,
}

#[derive(FromRow)]
struct AtWorkRow {
    stage: Stage,
    subject: String,
    step: String,
    started_at: Moment,
    stopped_s: i64,
    person: Option<String>,
}

/// Every step whose clock runs, the longest first.
pub async fn at_work(pool: &PgPool) -> Result<Vec<AtWork>, sqlx::Error> {
    let rows: Vec<AtWorkRow> = sqlx::query_as(
        "SELECT c.stage::text AS stage, c.subject, c.step, c.started_at, p.name AS person,
                (SELECT coalesce(sum(extract(epoch FROM o.stopped_at - o.started_at)), 0)::bigint FROM step_clocks o
                 WHERE o.subject = c.subject AND o.stage = c.stage AND o.step = c.step AND o.used_by IS NULL
                   AND o.attempt_id IS NOT DISTINCT FROM c.attempt_id AND o.stopped_at IS NOT NULL) AS stopped_s
         FROM step_clocks c LEFT JOIN people p ON p.id = c.started_by WHERE c.stopped_at IS NULL ORDER BY c.started_at LIMIT 40",
    )
    .fetch_all(pool)
    .await?;
    let at_work = |row: AtWorkRow| {
        let which = row.subject.split(':').nth(1)?;
        Some(AtWork {
            words: sheets::find(row.stage, &row.step)?.words,
            of: row.subject.replacen(':', " ", 1),
            place: super::pages::place(row.stage, which),
            action: format!("{}/{}", super::pages::place(row.stage, which), row.step),
            since: row.started_at,
            counts_from: row.started_at.plus_seconds(-row.stopped_s),
            person: row.person,
        })
    };
    Ok(rows.into_iter().filter_map(at_work).collect())
}

/// What became of a step at which somebody has just tapped.
#[derive(Clone, Debug)]
pub struct Tapped {
    /// Such as `Polished, piece 1042-3: 12.5 min recorded.`
    pub words: String,
    /// The page of its sheet.
    pub place: String,
    /// Its record, which can be taken back.
    pub record: Option<Uuid>,
}

/// How a step stands, by the address that its taps post to; none when there is no such step, or
/// nothing was recorded at it.
pub async fn tapped(pool: &PgPool, action: &str) -> Result<Option<Tapped>, sqlx::Error> {
    let path: Vec<&str> = action.trim_start_matches('/').split('/').collect();
    let ["steps", stage, which, step] = path[..] else { return Ok(None) };
    let Ok(stage) = stage.parse::<Stage>() else { return Ok(None) };
    let Some(step) = sheets::find(stage, step) else { return Ok(None) };
    let mut conn = pool.acquire().await?;
    let Some(subject) = store::subject(&mut conn, stage, which).await? else { return Ok(None) };
    let record = store::last_record(&mut conn, &subject, step).await?;
    drop(conn);
    let counted = count_of(pool, &subject, step.key).await?;
    let minutes = |minutes: f64| format!("{} min", (minutes * 10.0).round() / 10.0);
    let (became, record) = match (counted, record) {
        (Some(Count { running_since: Some(_), .. }), _) => ("its clock runs".to_owned(), None),
        (Some(count), _) => {
            (format!("stopped at {} min, not recorded yet", count.minutes(Moment::default())), None)
        }
        (None, Some(record)) => {
            let told = record.minutes.map(|told| format!("{} ", minutes(told)));
            (format!("{}recorded", told.unwrap_or_default()), Some(record.id))
        }
        (None, None) => return Ok(None),
    };
    Ok(Some(Tapped {
        words: format!("{}, {}: {became}.", step.words, subject.name.replacen(':', " ", 1)),
        place: super::pages::place(stage, which),
        record,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_are_not_counted() {
        let now = Moment::default();
        let count = |stopped_s, running: Option<i64>| Count {
            step: "polished".to_owned(),
            stopped_s,
            running_since: running.map(|minutes| now.plus_minutes(-minutes)),
        };
        assert_eq!(count(750, None).minutes(now), 12.5);
        assert_eq!(count(750, Some(4)).minutes(now), 16.5);
        assert_eq!(count(0, Some(-3)).minutes(now), 0.0, "a clock from the future counts nothing");
        assert_eq!(count(60, Some(4)).as_if_since(), Some(now.plus_minutes(-5)));
        assert_eq!(count(60, None).as_if_since(), None);
    }
}
