//! When the studio has changed so that its agreed loads cannot be carried out, a new plan is made
//! in the background, as near to them as can be, and waits for a yes.

use std::time::{Duration, Instant};

use serde_json::json;
use sqlx::PgPool;

use super::difference::Difference;
use super::instance::{self, Instance};
use super::{current, think};
use crate::clock::Moment;
use crate::id::PlanId;
use crate::json::plan::read_problem;
use crate::web::{App, Fault, Refused};

/// How long the planner may look for the new plan.
const SECONDS: f64 = 2.0;
/// Weighted minutes late that moving a flask has to save.
const PER_MOVE: i64 = 240;
/// Several changes at once are looked at together.
const QUIET: Duration = Duration::from_secs(5);
/// Time alone changes things too: loads that are not begun.
const AT_LEAST_EVERY: Duration = Duration::from_secs(600);
/// One copy of the program at a time. Any number.
const LOCK: i64 = 0x706f_7572_706c_616e;
/// What has to change before it is looked at.
const TOPICS: [&str; 6] =
    ["kiln_loads", "flasks", "pours", "kiln_outages", "closed_days", "working_hours"];

/// Looks whenever something has changed, until the pool is closed.
pub async fn watch(app: App) {
    let mut changes = app.live.subscribe();
    while !app.pool.is_closed() {
        let changed = tokio::time::timeout(AT_LEAST_EVERY, async {
            loop {
                match changes.recv().await {
                    Ok(topic) => {
                        let name = topic.split(':').next().unwrap_or_default();
                        if TOPICS.contains(&name) {
                            return;
                        }
                    }
                    // Behind: something was missed.
                    Err(tokio::sync::broadcast::error::RecvError::Lagged(_)) => return,
                    Err(tokio::sync::broadcast::error::RecvError::Closed) => {
                        tokio::time::sleep(AT_LEAST_EVERY).await;
                    }
                }
            }
        });
        let _ = changed.await;
        tokio::time::sleep(QUIET).await;
        match replan(&app.pool, app.clock.now()).await {
            Ok(_) | Err(Fault::Refused(_)) => {}
            Err(fault) => tracing::warn!("the plan could not be looked at: {fault:?}"),
        }
    }
}

/// Makes a proposal if the agreed loads cannot be carried out as they are; its number. Nothing
/// when they can, when nothing was agreed, when a proposal is open, or when the same was
/// proposed and turned down.
pub async fn replan(pool: &PgPool, now: Moment) -> Result<Option<i32>, Fault> {
    let mut tx = pool.begin().await?;
    let ours: bool = sqlx::query_scalar("SELECT pg_try_advisory_xact_lock($1)")
        .bind(LOCK)
        .fetch_one(&mut *tx)
        .await?;
    let wanted: bool = sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM plans WHERE state = 'accepted')
            AND EXISTS (SELECT 1 FROM kiln_loads WHERE state = 'planned')
            AND NOT EXISTS (SELECT 1 FROM plans WHERE state IN ('proposed', 'computing'))",
    )
    .fetch_one(&mut *tx)
    .await?;
    if !ours || !wanted {
        return Ok(None);
    }
    let Instance { grid, json, .. } = instance::read(pool, now).await?;
    let mut problem = read_problem(&json.to_string())
        .map_err(|refusal| Refused::conflict(refusal.to_string()))?
        .problem;
    let standing = current::current(pool, &problem, &grid).await?;
    let reasons = current::troubles(&problem, &standing, grid.minute(now));
    if reasons.is_empty() {
        return Ok(None);
    }
    let told = json!(reasons);
    let turned_down: Option<serde_json::Value> = sqlx::query_scalar(
        "SELECT reasons FROM plans WHERE made_by IS NULL AND state <> 'accepted'
           AND number > (SELECT number FROM plans WHERE state = 'accepted') ORDER BY number DESC LIMIT 1",
    )
    .fetch_optional(&mut *tx)
    .await?;
    if turned_down.as_ref() == Some(&told) {
        return Ok(None);
    }
    problem.decisions.stability = Some(current::kept(&standing, PER_MOVE));
    let begun = Instant::now();
    let made = tokio::task::spawn_blocking(move || think::at_once(&problem, SECONDS))
        .await
        .map_err(|error| Fault::Unforeseen(error.into()))?;
    let plan = made.map_err(Refused::conflict)?;
    let difference = Difference::between((&standing, &grid), (&plan, &grid));
    if difference.changed.is_empty() {
        // Nothing can be done about it by planning.
        return Ok(None);
    }
    let number: i32 = sqlx::query_scalar(
        "INSERT INTO plans (id, state, day_zero, instance, result, seconds, reasons, made_at)
         VALUES ($1, 'proposed', $2, $3, $4, $5, $6, $7) RETURNING number",
    )
    .bind(PlanId::new())
    .bind(grid.day_zero)
    .bind(&json)
    .bind(think::written(&plan, &grid, begun))
    .bind(SECONDS)
    .bind(told)
    .bind(now)
    .fetch_one(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(Some(number))
}
