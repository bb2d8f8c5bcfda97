//! The table of clocks.

use sqlx::{FromRow, PgConnection, PgPool};

use crate::clock::Moment;
use crate::id::TimerId;

/// A clock that counts towards a moment.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct Timer {
    /// Which one.
    pub id: TimerId,
    /// What it belongs to, such as `cure:31`.
    pub subject: String,
    /// What is timed, such as `Wash`.
    pub name: String,
    /// When it began.
    pub started_at: Moment,
    /// When the time is up.
    pub due_at: Moment,
    /// When somebody ended it; none while it runs.
    pub ended_at: Option<Moment>,
}

impl Timer {
    /// Whether the time is up.
    #[must_use]
    pub fn is_over(&self, now: &Moment) -> bool {
        self.due_at <= *now
    }

    /// What is left as the page shows it before its script counts on: `12:05`,
    /// `1:02:05`, `over by 00:40`.
    #[must_use]
    pub fn left(&self, now: &Moment) -> String {
        let left = self.due_at.seconds_since(*now);
        let shown = left.unsigned_abs();
        let (hours, minutes, seconds) = (shown / 3600, shown / 60 % 60, shown % 60);
        let over = if left < 0 { "over by " } else { "" };
        if hours > 0 {
            format!("{over}{hours}:{minutes:02}:{seconds:02}")
        } else {
            format!("{over}{minutes:02}:{seconds:02}")
        }
    }

    /// The page of what it belongs to.
    #[must_use]
    pub fn path(&self) -> String {
        subject_path(&self.subject).unwrap_or_else(|| "/".to_owned())
    }

    /// What it belongs to in the trade's words, such as `cure 31`.
    #[must_use]
    pub fn subject_words(&self) -> String {
        self.subject.replacen(':', " ", 1)
    }
}

/// The page of a batch written as `cure:31`; none when it is no batch.
#[must_use]
pub fn subject_path(subject: &str) -> Option<String> {
    let (kind, number) = subject.split_once(':')?;
    let room = match kind {
        "plate" => "plates",
        "cure" => "cure",
        "flask" => "flasks",
        "load" => "loads",
        _ => return None,
    };
    Some(format!("/{room}/{number}"))
}

/// Starts a clock of so many minutes. A clock of the same name that already
/// runs for the subject is left alone, so that a second tap does not begin it
/// anew; its id is returned.
pub async fn start(
    conn: &mut PgConnection,
    subject: &str,
    name: &str,
    now: Moment,
    minutes: f64,
) -> Result<TimerId, sqlx::Error> {
    let running = sqlx::query_scalar(
        "SELECT id FROM timers WHERE subject = $1 AND name = $2 AND ended_at IS NULL",
    )
    .bind(subject)
    .bind(name)
    .fetch_optional(&mut *conn)
    .await?;
    if let Some(id) = running {
        return Ok(id);
    }
    let id = TimerId::new();
    // A float turned into an integer saturates, and what is no number becomes 0.
    let due = now.plus_seconds(((minutes * 60.0).round() as i64).clamp(0, 366 * 86_400));
    sqlx::query(
        "INSERT INTO timers (id, subject, name, started_at, due_at) VALUES ($1, $2, $3, $4, $5)",
    )
    .bind(id)
    .bind(subject)
    .bind(name)
    .bind(now)
    .bind(due)
    .execute(conn)
    .await?;
    Ok(id)
}

/// Ends every running clock of a subject; says how many there were.
pub async fn end(conn: &mut PgConnection, subject: &str, now: Moment) -> Result<u64, sqlx::Error> {
    let ended =
        sqlx::query("UPDATE timers SET ended_at = $2 WHERE subject = $1 AND ended_at IS NULL")
            .bind(subject)
            .bind(now)
            .execute(conn)
            .await?;
    Ok(ended.rows_affected())
}

/// Every clock that runs, the first to end first.
pub async fn running(pool: &PgPool) -> Result<Vec<Timer>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, subject, name, started_at, due_at, ended_at FROM timers
         WHERE ended_at IS NULL ORDER BY due_at, id LIMIT 200",
    )
    .fetch_all(pool)
    .await
}

/// The clocks of a subject, running and ended, oldest first.
pub async fn of(pool: &PgPool, subject: &str) -> Result<Vec<Timer>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, subject, name, started_at, due_at, ended_at FROM timers
         WHERE subject = $1 ORDER BY started_at, id",
    )
    .bind(subject)
    .fetch_all(pool)
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_is_read_like_a_clock() {
        let now = Moment::default();
        let timer = |seconds| Timer {
            id: TimerId::new(),
            subject: "cure:31".to_owned(),
            name: "Wash".to_owned(),
            started_at: now,
            due_at: now.plus_seconds(seconds),
            ended_at: None,
        };
        assert_eq!(timer(65).left(&now), "01:05");
        assert_eq!(timer(3 * 3600 + 4).left(&now), "3:00:04");
        assert_eq!(timer(-40).left(&now), "over by 00:40");
        assert!(timer(0).is_over(&now) && !timer(1).is_over(&now));
        assert_eq!(timer(1).path(), "/cure/31");
    }
}
