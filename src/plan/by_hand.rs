//! Changing a plan by hand: a flask put elsewhere, what it costs, and taking it back.

use std::time::Instant;

use foundry::plan::{Load, Pin, Plan, Problem};
use jiff::tz::TimeZone;
use sqlx::{PgConnection, PgPool};

use super::difference::Difference;
use super::forms::PinForm;
use super::grid::Grid;
use super::instance::{self, Instance, problem_of};
use super::store::{self, Change};
use super::{current, power, think, view};
use crate::clock::Moment;
use crate::id::PersonId;
use crate::json::plan::{PinJson, PlanJson};
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// How long the planner may put the others right around what was moved.
const SECONDS: f64 = 0.4;
/// Minutes late that moving any other flask has to save: almost nobody else moves.
const PER_MOVE: i64 = 3_000;

/// A plan that is on the page: a proposal, or the loads as they stand.
#[derive(Debug)]
pub(super) struct Base {
    /// Its number; none for the loads as they stand.
    pub(super) number: Option<i32>,
    pub(super) plan: Plan,
    pub(super) grid: Grid,
    /// What was pinned in it, in its own minutes.
    pins: Vec<PinJson>,
}

/// The open proposal, or the loads as they stand.
pub(super) async fn base(
    pool: &PgPool,
    problem: &Problem,
    studio: &Instance,
    zone: TimeZone,
) -> Result<Base, Fault> {
    match store::open(pool).await? {
        Some(row) => Ok(Base {
            number: Some(row.number),
            plan: Plan::from(serde_json::from_value::<PlanJson>(row.result.unwrap_or_default())?),
            grid: Grid::on(row.day_zero, zone),
            pins: row.pins,
        }),
        None => Ok(Base {
            number: None,
            plan: current::current(pool, problem, studio).await?,
            grid: studio.grid.clone(),
            pins: Vec::new(),
        }),
    }
}

/// Works out what putting a flask elsewhere does to the plan, everything else staying as it can.
pub(super) async fn work_out(
    pool: &PgPool,
    signed: &Signed,
    pin: PinForm,
) -> Result<Change, Fault> {
    let studio = instance::read(pool, signed.now).await?;
    let zone = signed.frame.show.zone.clone();
    let problem = studio.problem()?;
    let flask = pin.flask.to_string();
    if problem.flask(&flask).is_none() {
        return Err(Refused::conflict(format!(
            "Flask {flask} does not wait for a kiln any more, so it cannot be moved. Nothing was changed."
        ))
        .into());
    }
    let base = base(pool, &problem, &studio, zone).await?;
    let Instance { grid, mut written, notes, .. } = studio;
    let Some(kiln) = view::kiln_name(pool, pin.kiln).await? else {
        return Err(Refused::conflict("This kiln is no longer there. Nothing was changed.").into());
    };
    // The minutes of the plan before may count from another Monday.
    let shift = i64::from(grid.day_number(base.grid.day_zero)) * 1440;
    let moved = moved_to(&base.plan, shift);
    let mut pins = base.pins;
    for one in &mut pins {
        if let PinJson::Load { start_min, .. } = one {
            *start_min = (*start_min + shift).max(0);
        }
    }
    pins.append(&mut written.decisions.pins);
    let mut seen = vec![flask.clone()];
    pins.retain(|(PinJson::Load { flask: id, .. } | PinJson::Together { flask: id, .. })| {
        let first = problem.flask(id).is_some() && !seen.contains(id);
        seen.push(id.clone());
        first
    });
    let start_min = grid.minute(pin.start_at);
    pins.push(PinJson::Load { flask: flask.clone(), kiln: kiln.clone(), start_min });
    written.decisions.pins = pins;
    let mut problem = problem_of(written.clone())?;
    problem.decisions.stability = Some(current::kept(&moved, PER_MOVE));
    let begun = Instant::now();
    let (problem, made) = tokio::task::spawn_blocking(move || {
        let made = think::at_once(&problem, SECONDS);
        (problem, made)
    })
    .await
    .map_err(|error| Fault::Unforeseen(error.into()))?;
    let plan = made.map_err(Refused::conflict)?;
    let refused = plan.unkept.iter().find(|one| match &one.pin {
        Pin::Load { flask: id, .. } => *id == flask,
        Pin::Together { .. } => false,
    });
    if let Some(unkept) = refused {
        return Err(Refused::conflict(format!(
            "Flask {flask} cannot go there: {}. Nothing was changed.",
            unkept.why
        ))
        .into());
    }
    if let Some(left_out) = plan.unplanned.iter().find(|one| one.flask == flask) {
        let why = super::words::left_out(&left_out.reason, &grid);
        return Err(Refused::conflict(format!(
            "Flask {flask} cannot go there: {why}. Nothing was changed."
        ))
        .into());
    }
    let mut before = moved;
    before.objective = foundry::plan::judge::achieved(&problem, &before);
    let mut cost = Difference::between((&before, &grid), (&plan, &grid));
    cost.dear_min = power::dear_min(&problem, &plan) - power::dear_min(&problem, &before);
    let show = &signed.frame.show;
    let mut words =
        format!("Flask {flask} into {kiln}, {}: {}.", show.moment(pin.start_at), cost.words());
    if cost.changed.iter().any(|changed| changed.flask != flask) {
        let wished = as_wished(&before, &plan, &flask);
        let why = current::broken(&problem, &wished, grid.minute(signed.now));
        if !why.is_empty() {
            words = format!("{words} Why others move too: {}", why.join(" "));
        }
    }
    Ok(Change {
        base: base.number,
        day_zero: grid.day_zero,
        instance: written,
        result: think::written(&plan, &grid, begun),
        words,
        notes,
        seconds: SECONDS,
    })
}

/// A plan with one flask where another plan has it and nothing else touched.
fn as_wished(before: &Plan, after: &Plan, flask: &str) -> Plan {
    let mut wished = before.clone();
    for load in &mut wished.loads {
        load.flasks.retain(|placed| placed.flask != flask);
    }
    wished.loads.retain(|load| !load.flasks.is_empty());
    wished.pours.retain(|pour| pour.flask != flask);
    wished.pours.extend(after.pours.iter().filter(|pour| pour.flask == flask).cloned());
    for load in &after.loads {
        let Some(placed) = load.flasks.iter().find(|placed| placed.flask == flask) else {
            continue;
        };
        let same = |one: &&mut Load| one.kiln == load.kiln && one.start_min == load.start_min;
        match wished.loads.iter_mut().find(same) {
            Some(there) => there.flasks.push(placed.clone()),
            None => wished.loads.push(Load { flasks: vec![placed.clone()], ..load.clone() }),
        }
    }
    wished
}

/// The same plan, so many minutes later on another calendar.
pub(super) fn moved_to(plan: &Plan, shift: i64) -> Plan {
    let mut plan = plan.clone();
    plan.loads.iter_mut().for_each(|load| load.start_min += shift);
    plan.pours.iter_mut().for_each(|pour| pour.start_min += shift);
    plan
}

/// Keeps a change as a proposal, made from the plan that was on the page.
pub(super) async fn keep(
    conn: &mut PgConnection,
    change: &Change,
    person: PersonId,
    now: Moment,
) -> Result<(), Fault> {
    let open = store::hold_open(conn).await?;
    if open != change.base {
        return Err(Refused::conflict(
            "Somebody made another plan meanwhile. Look at it, then move the flask again; nothing was changed.",
        )
        .into());
    }
    Ok(store::insert_change(conn, change, person, now).await?)
}

/// Takes the last change by hand back.
pub(super) async fn undo(conn: &mut PgConnection) -> Result<(), Fault> {
    if store::undo(conn).await? {
        return Ok(());
    }
    Err(Refused::conflict("There is no change by hand to take back.").into())
}

/// Makes the change again that was taken back last.
pub(super) async fn redo(conn: &mut PgConnection) -> Result<(), Fault> {
    let open = store::hold_open(conn).await?;
    if store::redo(conn, open).await? {
        return Ok(());
    }
    Err(Refused::conflict("There is no change that was taken back.").into())
}

/// A plan by its number, for comparing.
pub(super) async fn numbered(
    pool: &PgPool,
    number: i32,
    zone: TimeZone,
) -> Result<(Plan, PlanJson, Grid), Fault> {
    let row = store::numbered(pool, number).await?.ok_or(Fault::NotFound)?;
    let json: PlanJson = serde_json::from_value(row.result.unwrap_or_default())?;
    Ok((Plan::from(json.clone()), json, Grid::on(row.day_zero, zone)))
}
