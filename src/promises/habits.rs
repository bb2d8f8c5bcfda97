//! The studio's own yields and times, as they were recorded.

use foundry::plan::Calendar;
use foundry::promise::{Clocked, Durations, Habits, Stage, staffed_from, usual_habits};
use foundry::yields::Tally;
use sqlx::PgPool;

use super::view;
use crate::clock::Moment;
use crate::plan::Grid;

/// Older than so many days does not count: people, resins and printers change.
const DAYS_BACK: i64 = 365;
/// At most so many batches of a stage are timed.
const BATCHES: usize = 150;

/// What was recorded in the last year.
pub(super) struct Records {
    counted: Vec<view::Counted>,
    timed: Vec<view::Timed>,
    /// When flasks were to be poured, and when their castings were cut off.
    after_pours: Vec<(Moment, Moment)>,
}

impl Records {
    pub(super) async fn read(pool: &PgPool, now: Moment) -> Result<Self, sqlx::Error> {
        let since = now.plus_minutes(-DAYS_BACK * 1440);
        let (counted, timed, after_pours) = tokio::try_join!(
            view::counted(pool, since),
            view::timed(pool, since),
            view::after_pours(pool, since)
        )?;
        Ok(Self { counted, timed, after_pours })
    }

    /// Yields and times, with the usual ones as prior.
    pub(super) fn habits(&self, grid: &Grid, calendar: &Calendar, pour_min: i64) -> Habits {
        let mut habits = usual_habits();
        let whole = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
        for one in &self.counted {
            if let Some(stage) = stage_of(&one.stage) {
                habits.stages[stage.place()].counted =
                    Tally { good: whole(one.good), bad: whole(one.bad) };
            }
        }
        // A batch is timed once, however many pieces are in it.
        for one in &self.timed {
            let Some(stage) = stage_of(&one.stage) else { continue };
            let habit = &mut habits.stages[stage.place()];
            let minute = |at: Moment| grid.minute(at);
            add(&mut habit.work, calendar, minute(one.entered_at), minute(one.ended_at));
            if let Some(since) = one.since_at {
                add(&mut habit.wait, calendar, minute(since), minute(one.entered_at));
            }
        }
        for &(planned, finished) in &self.after_pours {
            let from = grid.minute(planned) + pour_min;
            add(&mut habits.after_pour, calendar, from, grid.minute(finished).max(from));
        }
        habits
    }
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
