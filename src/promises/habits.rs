//! The studio's own yields and times, as they were recorded.

use foundry::plan::Calendar;
use foundry::promise::{Clocked, Durations, Habits, Stage, staffed_from, usual_habits};
use foundry::yields::Tally;
use sqlx::{FromRow, PgPool};

use crate::clock::Moment;
use crate::plan::Grid;

/// Older than so many days does not count: people, resins and printers change.
const DAYS_BACK: i64 = 365;
/// At most so many stages of pieces are read, the newest.
const STAGES_READ: i64 = 6_000;
/// At most so many batches of a stage are timed.
const BATCHES: usize = 150;

#[derive(Debug, FromRow)]
struct Counted {
    stage: String,
    good: i64,
    bad: i64,
}

#[derive(Debug, FromRow)]
struct Timed {
    stage: String,
    since_at: Option<Moment>,
    entered_at: Moment,
    ended_at: Moment,
}

const SETTLED: &str = "last AS (
    SELECT attempt_id, stage::text AS stage, entered_at, failed_at, coalesce(failed_at, finished_at) AS ended_at, batch
    FROM attempt_stages WHERE coalesce(failed_at, finished_at) > $1
    ORDER BY coalesce(failed_at, finished_at) DESC LIMIT $2)";

/// Yields and times of the last year, with the usual ones as prior.
pub(super) async fn read(
    pool: &PgPool,
    grid: &Grid,
    calendar: &Calendar,
    pour_min: i64,
    now: Moment,
) -> Result<Habits, sqlx::Error> {
    let since = now.plus_minutes(-DAYS_BACK * 1440);
    let mut habits = usual_habits();
    let counted: Vec<Counted> = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "WITH {SETTLED} SELECT stage, count(*) FILTER (WHERE failed_at IS NULL) AS good,
            count(*) FILTER (WHERE failed_at IS NOT NULL) AS bad FROM last GROUP BY stage"
    )))
    .bind(since)
    .bind(STAGES_READ)
    .fetch_all(pool)
    .await?;
    let whole = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
    for one in counted {
        if let Some(stage) = stage_of(&one.stage) {
            habits.stages[stage.place()].counted =
                Tally { good: whole(one.good), bad: whole(one.bad) };
        }
    }
    // A batch is timed once, however many pieces are in it.
    let timed: Vec<Timed> = sqlx::query_as(sqlx::AssertSqlSafe(format!(
        "WITH {SETTLED} SELECT DISTINCT ON (l.stage, coalesce(l.batch, l.attempt_id::text))
            l.stage, coalesce(b.finished_at, CASE WHEN l.stage = 'print' THEN a.begun_at END) AS since_at, l.entered_at, l.ended_at
         FROM last l JOIN attempts a ON a.id = l.attempt_id
         LEFT JOIN attempt_stages b ON b.attempt_id = l.attempt_id AND b.stage = CASE l.stage
            WHEN 'cure' THEN 'print' WHEN 'invest' THEN 'cure' WHEN 'finish' THEN 'cast' END
         WHERE l.entered_at IS NOT NULL AND l.stage IN ('print', 'cure', 'invest', 'finish')
         ORDER BY l.stage, coalesce(l.batch, l.attempt_id::text), l.ended_at DESC"
    )))
    .bind(since)
    .bind(STAGES_READ)
    .fetch_all(pool)
    .await?;
    for one in timed {
        let Some(stage) = stage_of(&one.stage) else { continue };
        let habit = &mut habits.stages[stage.place()];
        let minute = |at: Moment| grid.minute(at);
        add(&mut habit.work, calendar, minute(one.entered_at), minute(one.ended_at));
        if let Some(since) = one.since_at {
            add(&mut habit.wait, calendar, minute(since), minute(one.entered_at));
        }
    }
    let after: Vec<(Moment, Moment)> = sqlx::query_as(
        "SELECT DISTINCT ON (p.flask_id) lf.planned_pour_at, s.finished_at
         FROM (SELECT flask_id, kiln_load_id FROM pours WHERE poured_at > $1 ORDER BY poured_at DESC LIMIT 150) p
         JOIN kiln_load_flasks lf ON lf.flask_id = p.flask_id AND lf.kiln_load_id = p.kiln_load_id
         JOIN flask_pieces fp ON fp.flask_id = p.flask_id
         JOIN attempt_stages s ON s.attempt_id = fp.attempt_id AND s.stage = 'cast' AND s.finished_at IS NOT NULL
         ORDER BY p.flask_id, s.finished_at",
    )
    .bind(since)
    .fetch_all(pool)
    .await?;
    for (planned, finished) in after {
        let from = grid.minute(planned) + pour_min;
        add(&mut habits.after_pour, calendar, from, grid.minute(finished).max(from));
    }
    Ok(habits)
}

fn stage_of(name: &str) -> Option<Stage> {
    Stage::ALL.into_iter().find(|stage| stage.name() == name)
}

fn add(durations: &mut Durations, calendar: &Calendar, from: i64, to: i64) {
    if to < from || durations.timed_min.len() >= BATCHES {
        return;
    }
    durations.timed_min.push(match durations.clocked {
        Clocked::Wall => to - from,
        Clocked::Staffed => staffed_from(calendar, from, to),
    });
}
