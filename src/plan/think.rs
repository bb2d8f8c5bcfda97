//! Computing plans beside the pages: the first at once, better ones as they are found.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use foundry::plan::{Control, Objective, Options, Plan, Problem, Reason, judge, solve};
use serde_json::Value;
use sqlx::PgPool;
use tokio::sync::mpsc::{UnboundedSender, unbounded_channel};

use super::grid::Grid;
use super::instance::Instance;
use super::{power, store, words};
use crate::id::PlanId;
use crate::json::plan::{faultless, write_plan};

/// A better plan is shown no sooner than this after the one before.
const BETWEEN_SHOWN: Duration = Duration::from_millis(700);
/// How often it is asked whether to stop.
const BETWEEN_ASKING: Duration = Duration::from_millis(250);

/// Computes a plan that was begun and keeps it. Runs beside the pages.
pub(super) async fn compute(pool: PgPool, plan: PlanId, instance: Instance, seconds: f64) {
    let stop = Arc::new(AtomicBool::new(false));
    let (send, mut shown) = unbounded_channel();
    let asked = stop.clone();
    let instance = Arc::new(instance);
    let asks = instance.clone();
    let thinking = tokio::task::spawn_blocking(move || think(&asks, seconds, &asked, &send));
    let mut asking = tokio::time::interval(BETWEEN_ASKING);
    loop {
        tokio::select! {
            better = shown.recv() => match better {
                Some(result) => {
                    if let Err(error) = store::show_so_far(&pool, plan, result).await {
                        tracing::warn!(error.text = %error, "a plan so far could not be shown");
                    }
                }
                None => break,
            },
            _ = asking.tick() => {
                if store::stop_asked(&pool, plan).await.unwrap_or(false) {
                    stop.store(true, Ordering::Relaxed);
                }
            }
        }
    }
    let outcome = thinking
        .await
        .unwrap_or_else(|_| Err("the planner broke off; please make the plan again".to_owned()));
    let made = outcome.as_ref().ok().cloned();
    if let Err(error) = store::finish(&pool, plan, outcome).await {
        tracing::error!(error.text = %error, "a plan could not be kept");
        return;
    }
    // What looking at prices saved is told a moment later: it takes another plan.
    if let Some(made) = made
        && let Err(fault) = power::note(&pool, plan, &instance, made).await
    {
        tracing::warn!("what a plan saves could not be told: {fault:?}");
    }
}

/// Plans an instance, shows what it finds on the way, and has the judge look at all of it.
fn think(
    instance: &Instance,
    seconds: f64,
    stop: &AtomicBool,
    show: &UnboundedSender<Value>,
) -> Result<Value, String> {
    let problem = faultless(instance.written.clone()).map_err(|refusal| refusal.to_string())?;
    let begun = Instant::now();
    let allowed = Duration::from_secs_f64(seconds);
    let mut shown: Option<(Objective, Instant)> = None;
    let plan = solve(&problem, &Options::default(), &mut |progress| {
        if let Some(plan) = &progress.plan
            && judge::check(&problem, plan).is_empty()
        {
            shown = Some((progress.best, Instant::now()));
            // Nobody may be listening any more.
            let _ = show.send(written(plan, &instance.grid, begun));
        }
        let used = begun.elapsed().as_secs_f64() / allowed.as_secs_f64();
        if used >= 1.0 || stop.load(Ordering::Relaxed) {
            return Control::Stop;
        }
        match shown {
            Some((best, at)) if progress.best < best && at.elapsed() > BETWEEN_SHOWN => {
                Control::Show { used }
            }
            _ => Control::Go { used },
        }
    })
    .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))?;
    judged(&problem, &plan)?;
    Ok(written(&plan, &instance.grid, begun))
}

/// Plans within so many seconds without showing anything on the way.
pub(super) fn at_once(problem: &Problem, seconds: f64) -> Result<Plan, String> {
    let begun = Instant::now();
    let plan = solve(problem, &Options::default(), &mut |_| {
        let used = begun.elapsed().as_secs_f64() / seconds;
        if used >= 1.0 { Control::Stop } else { Control::Go { used } }
    })
    .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))?;
    judged(problem, &plan)?;
    Ok(plan)
}

/// A plan that breaks a rule is a defect; nobody is shown it.
fn judged(problem: &Problem, plan: &Plan) -> Result<(), String> {
    match judge::check(problem, plan).first() {
        Some(violation) => {
            Err(format!("the plan was thrown away because it broke a rule: {}", violation.what))
        }
        None => Ok(()),
    }
}

/// The written form of a plan, with the studio's days in its reasons.
pub(super) fn written(plan: &Plan, grid: &Grid, begun: Instant) -> Value {
    let mut plan = plan.clone();
    for one in &mut plan.unkept {
        one.why = words::dated(&one.why, grid);
    }
    for one in &mut plan.unplanned {
        one.reason = Reason::Said(words::left_out(&one.reason, grid));
    }
    serde_json::to_value(write_plan(&plan, begun.elapsed().as_secs_f64())).unwrap_or_default()
}
