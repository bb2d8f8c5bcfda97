//! When the studio has changed so that its agreed loads cannot be carried out, or a piece has to
//! be made again, a new plan is made in the background, as near to them as can be, and waits for
//! a yes.

use std::time::{Duration, Instant};

use foundry::plan::{Plan, Problem};
use jiff::tz::TimeZone;
use serde_json::json;
use sqlx::{PgConnection, PgPool};

use super::again::{self, Again};
use super::difference::{Difference, span};
use super::instance;
use super::store::{self, Proposal};
use super::{begun, current, think, view, words};
use crate::clock::Moment;
use crate::studio::Settings;
use crate::web::{App, Fault, Pace, Refused};

/// How long the planner may look for the new plan.
const SECONDS: f64 = 2.0;
/// Weighted minutes late that moving a flask has to save.
const PER_MOVE: i64 = 240;
/// Several changes at once are looked at together; time alone changes loads that are not begun.
const PACE: Pace = Pace { quiet: Duration::from_secs(5), at_least_every: Duration::from_secs(600) };
/// What has to change before it is looked at.
const TOPICS: [&str; 11] = [
    "kiln_loads",
    "kiln_fits",
    "flasks",
    "pours",
    "pieces",
    "kiln_outages",
    "closed_days",
    "working_hours",
    "person_hours",
    "absences",
    "people",
];

/// Looks whenever something has changed, until the pool is closed.
pub async fn watch(app: App) {
    let mut changes = app.live.watch(&TOPICS, PACE);
    let mut looked = None;
    while !app.pool.is_closed() {
        changes.next().await;
        match look(&app.pool, app.clock.now(), &mut looked).await {
            Ok(_) | Err(Fault::Refused(_)) => {}
            Err(fault) => tracing::warn!("the plan could not be looked at: {fault:?}"),
        }
    }
}

/// Makes a proposal if the agreed loads cannot be carried out as they are, or if a piece that is
/// made again gains by other loads; its number. Nothing when they can, when nothing was agreed,
/// when a proposal is open, or when the same was proposed and turned down. A proposal that was
/// made so is withdrawn when loads were begun that it has otherwise.
pub async fn replan(pool: &PgPool, now: Moment) -> Result<Option<i32>, Fault> {
    look(pool, now, &mut None).await
}

/// Reasons and loads for which no better plan was found: until they change it is not looked again.
type Looked = Option<(serde_json::Value, Plan)>;

async fn look(pool: &PgPool, now: Moment, looked: &mut Looked) -> Result<Option<i32>, Fault> {
    let mut tx = pool.begin().await?;
    if !store::is_ours(&mut tx).await? {
        return Ok(None);
    }
    let withdrawn = begun::withdraw(&mut tx).await?;
    let made = match store::is_wanted(&mut tx).await? {
        true => make(pool, &mut tx, now, looked, withdrawn).await?,
        false => None,
    };
    tx.commit().await?;
    Ok(made)
}

async fn make(
    pool: &PgPool,
    conn: &mut PgConnection,
    now: Moment,
    looked: &mut Looked,
    withdrawn: bool,
) -> Result<Option<i32>, Fault> {
    let studio = instance::read(pool, now).await?;
    let problem = studio.problem()?;
    let standing = current::current(pool, &problem, &studio).await?;
    let troubles = current::troubles(&problem, &standing, studio.grid.minute(now));
    let again = again::read(pool, &studio, now).await?;
    if troubles.is_empty() && again.is_empty() {
        return Ok(None);
    }
    let in_trouble = !troubles.is_empty();
    let zone = Settings::load(pool).await?.zone();
    let mut reasons = happened(pool, &again, &zone, now).await?;
    reasons.extend(troubles);
    let told = json!(reasons);
    // What was withdrawn was not turned down.
    if !withdrawn && store::turned_down(conn).await?.as_ref() == Some(&told) {
        return Ok(None);
    }
    let known = looked.as_ref().is_some_and(|one| one.0 == told && one.1 == standing);
    if known && !in_trouble {
        return Ok(None);
    }
    let begun = Instant::now();
    let (made, again, standing) = tokio::task::spawn_blocking(move || {
        let made = near_to(&problem, &standing, &again, in_trouble);
        (made, again, standing)
    })
    .await
    .map_err(|error| Fault::Unforeseen(error.into()))?;
    let Some((plan, with)) = made.map_err(Refused::conflict)? else {
        *looked = Some((told, standing));
        return Ok(None);
    };
    let difference = Difference::between((&standing, &studio.grid), (&plan, &studio.grid));
    if difference.changed.is_empty() {
        // Nothing can be done about it by planning.
        *looked = Some((told, standing));
        return Ok(None);
    }
    let gains: Vec<String> =
        again.iter().filter_map(|one| one.place(&with, &studio.grid)).collect();
    let proposal = Proposal {
        day_zero: studio.grid.day_zero,
        result: think::written(&plan, &studio.grid, begun),
        instance: studio.written,
        seconds: SECONDS,
        reasons: told,
        gains: json!(gains),
        notes: studio.notes,
    };
    Ok(Some(store::insert_proposal(conn, &proposal, now).await?))
}

/// A plan near to the loads as they stand that keeps room for what is made again: without those
/// flasks, for they are not there yet, and with them.
fn near_to(
    problem: &Problem,
    standing: &Plan,
    again: &[Again],
    in_trouble: bool,
) -> Result<Option<(Plan, Plan)>, String> {
    let mut problem = problem.clone();
    problem.decisions.stability = Some(current::kept(standing, PER_MOVE));
    if !again.is_empty() {
        let mut larger = problem.clone();
        larger.flasks.extend(again.iter().map(|one| one.flask.clone()));
        // A flask that cannot be planned for, such as one without a programme, is no hindrance.
        if let Ok(with) = think::at_once(&larger, SECONDS)
            && let Some(plan) = again::without(&problem, &with, again)
        {
            return Ok(Some((plan, with)));
        }
        if !in_trouble {
            return Ok(None);
        }
    }
    let plan = think::at_once(&problem, SECONDS)?;
    Ok(Some((plan.clone(), plan)))
}

/// What has happened since the plan was accepted, in sentences.
async fn happened(
    pool: &PgPool,
    again: &[Again],
    zone: &TimeZone,
    now: Moment,
) -> Result<Vec<String>, sqlx::Error> {
    let mut said: Vec<String> = again.iter().flat_map(Again::reasons).collect();
    for (name, kind, from, to) in view::absences_since(pool, now.day_in(zone)).await? {
        let (kind, from, until) = (kind.word(), words::day(from), words::day(to));
        said.push(match from == until {
            true => format!("{name} is {kind} on {from}."),
            false => format!("{name} is {kind} from {from} to {until}."),
        });
    }
    for load in view::long_loads(pool, now).await? {
        let expected = zone.to_datetime(load.expected_at.0).strftime("%a %-d %b %H:%M");
        said.push(match load.held_at {
            Some(at) => format!(
                "Load {} in {} ran {} longer than was planned.",
                load.number,
                load.kiln,
                span(at.minutes_since(load.expected_at))
            ),
            None => format!(
                "Load {} in {} should have been held at {expected} and burns still.",
                load.number, load.kiln
            ),
        });
    }
    Ok(said)
}
