//! The plan as it stands, for those who ask what else would fit beside it.

use foundry::plan::{Calendar, Control, Options, Pin, Plan, Problem, solve};
use sqlx::PgPool;

use super::grid::Grid;
use super::{instance, view};
use crate::clock::Moment;
use crate::web::{Fault, Refused};

/// A studio's kilns and furnace with everything that waits for them.
#[derive(Clone, Debug)]
pub struct Standing {
    /// The calendar the minutes are counted in.
    pub grid: Grid,
    /// What is to be planned; loads that were agreed are pinned.
    pub problem: Problem,
    /// A plan of all of it.
    pub plan: Plan,
    /// The minute of asking.
    pub now_min: i64,
}

impl Standing {
    /// When somebody is there.
    #[must_use]
    pub fn calendar(&self) -> &Calendar {
        &self.problem.calendar
    }
}

/// Reads the studio; agreed loads stay where they are, and what waits beside them is put where
/// it fits first.
pub async fn standing(pool: &PgPool, now: Moment, days: i64) -> Result<Standing, Fault> {
    let read = instance::read_ahead(pool, now, days).await?;
    let mut problem = read.problem()?;
    let now_min = read.grid.minute(now);
    let agreed = view::agreed(pool).await?;
    for (flask, kiln, starts) in agreed {
        let (flask, start_min) = (flask.to_string(), read.grid.minute(starts));
        let pinned = problem
            .decisions
            .pins
            .iter()
            .any(|pin| matches!(pin, Pin::Load { flask: one, .. } if *one == flask));
        // A load that should have begun already is planned anew.
        if !pinned && start_min >= now_min {
            problem.decisions.pins.push(Pin::Load { flask, kiln, start_min });
        }
    }
    let (problem, plan) = tokio::task::spawn_blocking(move || {
        // The first plan will do: what is agreed stands in it, and what waits has some place.
        let plan = solve(&problem, &Options::default(), &mut |_| Control::Stop);
        (problem, plan)
    })
    .await
    .map_err(|error| Fault::Unforeseen(error.into()))?;
    let plan = plan.map_err(|faults| {
        let words: Vec<String> = faults.iter().map(ToString::to_string).collect();
        Refused::conflict(words.join(" "))
    })?;
    Ok(Standing { grid: read.grid, problem, plan, now_min })
}
