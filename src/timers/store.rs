//! The table of clocks.

use serde_json::{Value, json};
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

    /// Whether it is over and something is lost while nobody comes.
    #[must_use]
    pub fn is_late(&self, now: &Moment) -> bool {
        self.is_over(now) && self.loses()
    }

    /// What is left as the page shows it before its script counts on: `12:05`,
    /// `1:02:05`, `over by 00:40`; `ready` where nothing is lost by waiting.
    #[must_use]
    pub fn left(&self, now: &Moment) -> String {
        let left = self.due_at.seconds_since(*now);
        if left <= 0 && !self.loses() {
            return "ready".to_owned();
        }
        let shown = left.unsigned_abs();
        let (hours, minutes, seconds) = (shown / 3600, shown / 60 % 60, shown % 60);
        let over = if left < 0 { "over by " } else { "" };
        if hours >= 48 {
            // Days are not counted by the second.
            format!("{over}{} days", hours / 24)
        } else if hours > 0 {
            format!("{over}{hours}:{minutes:02}:{seconds:02}")
        } else {
            format!("{over}{minutes:02}:{seconds:02}")
        }
    }

    /// The page of what it belongs to.
    #[must_use]
    pub fn path(&self) -> String {
        subject_path(&self.subject).unwrap_or_else(|| "/timers".to_owned())
    }

    /// What it belongs to in the trade's words, such as `cure 31`.
    #[must_use]
    pub fn subject_words(&self) -> String {
        match self.subject.strip_prefix("bench:") {
            Some("") => "at the bench".to_owned(),
            Some(own) => own.to_owned(),
            None => self.subject.replacen(':', " ", 1),
        }
    }

    /// Whether something is lost while it is over: a pattern cures too long, slurry sets.
    /// A plate that is printed, a flask that has set and a kiln that holds can wait.
    #[must_use]
    pub fn loses(&self) -> bool {
        !matches!(self.name.as_str(), "Print" | "burnout" | "bench set")
    }

    /// Whether it is over and another clock of the same thing has taken its place, as the
    /// steps of a mix follow each other.
    #[must_use]
    pub fn has_passed_on(&self, all: &[Self], now: &Moment) -> bool {
        self.is_over(now)
            && all.iter().any(|other| other.subject == self.subject && other.due_at > self.due_at)
    }

    /// How late somebody is who should have come.
    #[must_use]
    pub fn lateness(&self, now: &Moment) -> Lateness {
        match now.seconds_since(self.due_at) {
            late if late < 0 => Lateness::Runs,
            _ if !self.loses() => Lateness::Ready,
            late if late < Lateness::LATE_S => Lateness::Up,
            late if late < Lateness::VERY_LATE_S => Lateness::Late,
            _ => Lateness::VeryLate,
        }
    }
}

/// How far past its end a clock is; each step is told more loudly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lateness {
    /// Its time is not up.
    Runs,
    /// It was the least time, and has passed: nothing is lost by waiting.
    Ready,
    /// Its time is up.
    Up,
    /// Nobody came for two minutes.
    Late,
    /// Nobody came for ten.
    VeryLate,
}

impl Lateness {
    const LATE_S: i64 = 120;
    const VERY_LATE_S: i64 = 600;

    /// What a person reads; none while it runs.
    #[must_use]
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::Ready | Self::Runs => None,
            Self::Up => Some("its time is up"),
            Self::Late => Some("late: go and look"),
            Self::VeryLate => Some("very late: go and look at once"),
        }
    }

    /// The class name in the style sheet.
    #[must_use]
    pub const fn class(self) -> &'static str {
        match self {
            Self::Runs => "runs",
            Self::Ready => "ready",
            Self::Up => "up",
            Self::Late => "late-by",
            Self::VeryLate => "very-late",
        }
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
        "mix" => "mixes",
        "load" => "loads",
        _ => return None,
    };
    Some(format!("/{room}/{number}"))
}

/// Why a batch as people write it can have no clock, in a sentence; none when it can.
pub async fn hindrance(
    conn: &mut PgConnection,
    subject: &str,
) -> Result<Option<String>, sqlx::Error> {
    let Some((kind, number)) = subject.split_once(':') else { return Ok(None) };
    let sql = match kind {
        "plate" => "SELECT state FROM plates WHERE number::text = $1",
        "cure" => "SELECT state FROM cure_batches WHERE number::text = $1",
        "flask" => "SELECT state FROM flasks WHERE number::text = $1",
        "load" => "SELECT state FROM kiln_loads WHERE number::text = $1",
        _ => return Ok(None),
    };
    let state: Option<String> = sqlx::query_scalar(sql).bind(number).fetch_optional(conn).await?;
    Ok(match state.as_deref() {
        None => Some(format!(
            "There is no {kind} {number}. Look at its number, leave this empty, or say in other words what it is."
        )),
        Some("cancelled") => Some(format!("{kind} {number} was given up.")),
        Some(_) => None,
    })
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

/// Stops one clock; says whether it ran.
pub(super) async fn stop(
    conn: &mut PgConnection,
    id: TimerId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let stopped = sqlx::query(
        "UPDATE timers SET ended_at = greatest($2, started_at) WHERE id = $1 AND ended_at IS NULL",
    )
    .bind(id)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(stopped.rows_affected() == 1)
}

/// For how long after it was stopped a clock may be let run on.
const RUNS_ON_MIN: i64 = 30;

/// Lets a clock run on that was stopped a short time ago; says whether it does. One whose thing
/// has gone on, so that another clock was begun or ended there since, does not.
pub(super) async fn run_on(
    conn: &mut PgConnection,
    id: TimerId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let runs = sqlx::query(
        "UPDATE timers t SET ended_at = NULL WHERE t.id = $1 AND t.ended_at >= $2
           AND NOT EXISTS (SELECT 1 FROM timers o WHERE o.subject = t.subject AND o.subject NOT LIKE 'bench:%'
               AND o.id <> t.id AND (o.started_at >= t.ended_at OR o.ended_at >= t.ended_at))
           AND NOT EXISTS (SELECT 1 FROM timers o WHERE o.subject = t.subject AND o.name = t.name AND o.ended_at IS NULL)",
    )
    .bind(id)
    .bind(now.plus_minutes(-RUNS_ON_MIN))
    .execute(conn)
    .await?;
    Ok(runs.rows_affected() == 1)
}

/// Gives one clock more minutes; one whose time is up counts them from now.
pub(super) async fn more(
    conn: &mut PgConnection,
    id: TimerId,
    minutes: i64,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE timers SET due_at = greatest(due_at, $3) + make_interval(mins => $2::int)
         WHERE id = $1 AND ended_at IS NULL",
    )
    .bind(id)
    .bind(minutes)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes the last step of a subject's clocks back: those that run end, and those that
/// had ended when these began run on; where none runs, those that ended last do.
pub async fn take_back(
    conn: &mut PgConnection,
    subject: &str,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "WITH running AS (SELECT min(started_at) AS began FROM timers WHERE subject = $1 AND ended_at IS NULL),
              last AS (SELECT max(ended_at) AS ended FROM timers, running
                       WHERE subject = $1 AND ended_at IS NOT NULL AND (began IS NULL OR ended_at = began))
         UPDATE timers SET ended_at = CASE WHEN ended_at IS NULL THEN $2 END
         FROM last WHERE subject = $1 AND (ended_at IS NULL OR ended_at = last.ended)",
    )
    .bind(subject)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// When the running clock of a subject began and when it ends.
pub async fn clock(
    conn: &mut PgConnection,
    subject: &str,
    name: &str,
) -> Result<Option<(Moment, Moment)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT started_at, due_at FROM timers WHERE subject = $1 AND name = $2 AND ended_at IS NULL
         ORDER BY started_at DESC LIMIT 1",
    )
    .bind(subject)
    .bind(name)
    .fetch_optional(conn)
    .await
}

/// What is kept of a clock that ends: the minutes it was set to, and those it took.
#[must_use]
pub fn as_timed(clock: Option<(Moment, Moment)>, now: Moment) -> Value {
    let Some((began, ends)) = clock else { return json!({}) };
    let minutes = |until: Moment| (until.seconds_since(began) as f64 / 6.0).round() / 10.0;
    json!({ "planned_minutes": minutes(ends), "minutes": minutes(now) })
}

/// One clock; none when there is none of that id.
pub async fn find(pool: &PgPool, id: TimerId) -> Result<Option<Timer>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, subject, name, started_at, due_at, ended_at FROM timers WHERE id = $1",
    )
    .bind(id)
    .fetch_optional(pool)
    .await
}

/// Puts first what is lost while nobody comes, the latest before all; then what runs, the first
/// to end first; last what is ready and can wait.
pub fn by_urgency(clocks: &mut [Timer], now: &Moment) {
    clocks.sort_by_key(|clock| {
        let class = match clock.lateness(now) {
            Lateness::Up | Lateness::Late | Lateness::VeryLate => 0,
            Lateness::Runs => 1,
            Lateness::Ready => 2,
        };
        (class, clock.due_at)
    });
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
        assert_eq!(timer(48 * 3600 - 1).left(&now), "47:59:59");
        assert_eq!(timer(-75 * 3600).left(&now), "over by 3 days");
        assert!(timer(0).is_over(&now) && !timer(1).is_over(&now));
        assert_eq!(timer(1).path(), "/cure/31");
    }

    #[test]
    fn what_is_lost_stands_above_what_runs_and_what_is_ready_below() {
        let now = Moment::default();
        let timer = |name: &str, seconds| Timer {
            id: TimerId::new(),
            subject: "cure:31".to_owned(),
            name: name.to_owned(),
            started_at: now,
            due_at: now.plus_seconds(seconds),
            ended_at: None,
        };
        let mut clocks = vec![
            timer("bench set", -9000),
            timer("Print", -800),
            timer("Wash", -700),
            timer("quench", -20),
            timer("Cure", 60),
            timer("burnout", 6000),
        ];
        by_urgency(&mut clocks, &now);
        let names: Vec<_> = clocks.iter().map(|clock| clock.name.as_str()).collect();
        assert_eq!(names, ["Wash", "quench", "Cure", "burnout", "bench set", "Print"]);
    }

    #[test]
    fn a_late_clock_escalates_unless_nothing_is_lost() {
        let now = Moment::default();
        let late = |name: &str, seconds: i64| {
            let timer = Timer {
                id: TimerId::new(),
                subject: "cure:31".to_owned(),
                name: name.to_owned(),
                started_at: now,
                due_at: now.plus_seconds(-seconds),
                ended_at: None,
            };
            timer.lateness(&now)
        };
        assert_eq!(late("Wash", -1), Lateness::Runs);
        assert_eq!(late("Wash", 0), Lateness::Up);
        assert_eq!(late("Wash", 120), Lateness::Late);
        assert_eq!(late("Wash", 600), Lateness::VeryLate);
        assert_eq!(late("Print", 6000), Lateness::Ready);
    }
}
