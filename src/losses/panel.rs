//! The panel on the page of a batch: what failed there, what that cost, and when it is ready now.

use askama::Template;
use rust_decimal::Decimal;
use sqlx::PgPool;

use super::model::{Typical, days_left, total};
use super::view::{self, FailedRow, Rates};
use crate::clock::Day;
use crate::pieces::{Stage, Standing, State};
use crate::web::{Fault, Frame, Html};

/// A failure with what it costs.
struct Loss {
    row: FailedRow,
    /// What was spent on the attempt up to where it failed, as far as it is known.
    cost: Decimal,
    unknown: bool,
    /// The days that are lost at the usual pace of the stages, and when it is ready at that pace;
    /// none while records are too few. The day is only held against the day it is due: the day
    /// to tell is that of promises, which know the plan.
    ready: Option<(i32, Day)>,
}

impl Loss {
    /// The days that are lost.
    fn days_lost(&self) -> Option<i32> {
        self.ready.map(|(lost, _)| lost)
    }

    fn is_late(&self) -> bool {
        matches!((self.ready, self.row.due_on), (Some((_, now)), Some(due)) if now > due)
    }
}

#[derive(Template)]
#[template(path = "losses/panel.html")]
struct Panel<'a> {
    frame: &'a Frame,
    losses: Vec<Loss>,
    total: Decimal,
}

/// What failed in these batches, such as `plate:41`, at these stages; nothing when nothing did.
pub async fn of_batches(
    pool: &PgPool,
    frame: &Frame,
    batches: &[String],
    stages: &[Stage],
) -> Result<Html, Fault> {
    let failed = view::failed_in(pool, batches, stages).await?;
    panel(pool, frame, failed).await
}

/// The last failure of a piece while it waits to be printed again; nothing when there is none.
pub async fn of_piece(pool: &PgPool, frame: &Frame, label: &str) -> Result<Html, Fault> {
    let failed = view::last_of(pool, label).await?;
    panel(pool, frame, failed).await
}

async fn panel(pool: &PgPool, frame: &Frame, failed: Vec<FailedRow>) -> Result<Html, Fault> {
    if failed.is_empty() {
        return Ok(Html::default());
    }
    let show = &frame.show;
    let mut alloys: Vec<_> = failed.iter().map(|row| row.made.alloy_id).collect();
    alloys.sort_unstable();
    alloys.dedup();
    let typical = view::typical(pool, show.now).await?;
    let rates = Rates::load(pool, show.now.day_in(&show.zone), &alloys).await?;
    let mut losses = Vec::with_capacity(failed.len());
    for row in failed {
        let costs = rates.costs(pool, &row.made).await?;
        let (cost, unknown) = total(&costs, Stage::Print, row.stage);
        let ready = ready(&typical, row.at.day_in(&show.zone), row.stage);
        losses.push(Loss { row, cost, unknown, ready });
    }
    let total = losses.iter().map(|loss| loss.cost).sum();
    Ok(Html::of(&Panel { frame, losses, total }))
}

/// The days that a piece loses that failed at a stage on a day, and when it is ready now.
fn ready(typical: &[Typical], day: Day, stage: Stage) -> Option<(i32, Day)> {
    let left = |state| days_left(typical, state).map(|days| days.ceil() as i32);
    let before = left(State { stage, standing: Standing::InHand, ..State::QUEUED })?;
    let now = left(State::QUEUED)?;
    Some((now - before, day.plus_days(now)))
}
