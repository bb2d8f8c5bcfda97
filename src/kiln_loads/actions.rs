//! What is done to kiln loads, inside the caller's transaction.

use sqlx::PgConnection;

use super::store;
use super::view::{self, LoadRow, LoadState};
use crate::clock::Moment;
use crate::doubt;
use crate::flasks::{self, FlaskState};
use crate::id::{FamilyId, FlaskId, KilnId, KilnLoadId, PlanId};
use crate::kilns::{programme_of, total_minutes};
use crate::people::Signed;
use crate::pieces::{self, Act, Happening, Stage};
use crate::timers;
use crate::web::{Fault, Refused};

/// A load as a plan has it.
#[derive(Clone, Debug)]
pub struct PlannedLoad {
    /// In which kiln.
    pub kiln: KilnId,
    /// Whose programme runs.
    pub family: FamilyId,
    /// For which size class.
    pub size_class: String,
    /// When loading begins.
    pub starts: Moment,
    /// When it is held in its kiln,
    pub held: Moment,
    /// so many minutes later than by its programme.
    pub longer_min: i32,
    /// Flask, centre from the left and from the front, planned pour.
    pub flasks: Vec<(FlaskId, f64, f64, Moment)>,
}

/// Writes a planned load; returns its number.
pub async fn plan_load(
    conn: &mut PgConnection,
    load: &PlannedLoad,
    plan: PlanId,
) -> Result<i32, Fault> {
    let programme = programme_of(conn, load.family, &load.size_class).await?;
    Ok(store::insert(conn, load, &programme, plan).await?)
}

/// Gives up all loads that have not started, before another plan takes their place.
pub async fn cancel_planned(conn: &mut PgConnection, now: Moment) -> Result<(), Fault> {
    Ok(store::cancel_planned(conn, None, now).await?)
}

/// Plans the pour of a flask in a load under way for another time, unless it was poured.
pub async fn move_pour(conn: &mut PgConnection, flask: FlaskId, to: Moment) -> Result<(), Fault> {
    Ok(store::move_pour(conn, flask, to).await?)
}

async fn locked(
    conn: &mut PgConnection,
    number: i32,
    states: &[LoadState],
    seen: i64,
) -> Result<LoadRow, Fault> {
    store::lock(conn, number).await?;
    let load = view::load(&mut *conn, number).await?;
    if !states.contains(&load.state) {
        return Err(Refused::conflict(format!(
            "Load {number} is {}, so this cannot be done now. Nothing was changed.",
            load.state.words()
        ))
        .into());
    }
    if load.version != seen {
        return Err(Refused::stale(&format!("load {number}")).into());
    }
    Ok(load)
}

async fn pieces_in(
    conn: &mut PgConnection,
    flasks: &[FlaskId],
) -> Result<Vec<crate::id::PieceId>, Fault> {
    let mut all = Vec::new();
    for flask in flasks {
        all.extend(flasks::pieces_of(conn, *flask).await?);
    }
    Ok(all)
}

/// The kiln is loaded and its programme runs; how long that takes in this kiln, where it is longer
/// than the programme.
pub(super) async fn start(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    takes_min: Option<i64>,
) -> Result<(), Fault> {
    let load = locked(conn, number, &[LoadState::Planned], seen).await?;
    let flasks = store::flasks_of(conn, load.id).await?;
    if flasks.is_empty() {
        return Err(Refused::conflict(format!(
            "Load {number} has no flask any more; give it up and plan again."
        ))
        .into());
    }
    if let Some(flask) = store::not_set(conn, &flasks, signed.now).await? {
        return Err(Refused::conflict(format!(
            "Flask {flask} has not set yet. Wet investment cracks in the kiln: wait for its bench set, or plan again without it."
        ))
        .into());
    }
    flasks::move_on(conn, &flasks, FlaskState::Setting, FlaskState::InKiln, signed.now).await?;
    let batch = format!("load:{number}");
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    let wanted = pieces_in(conn, &flasks).await?;
    pieces::record(conn, &wanted, &Happening::Entered(Stage::Burnout), &act).await?;
    store::started(conn, load.id, signed.now).await?;
    // Nobody waits any more for what was left to set.
    for flask in store::numbers(conn, &flasks).await? {
        timers::end(conn, &format!("flask:{flask}"), signed.now).await?;
    }
    let minutes = takes_min.unwrap_or_else(|| total_minutes(&load.programme.0));
    timers::start(conn, &batch, "burnout", signed.now, minutes as f64).await?;
    Ok(())
}

/// The programme has reached its last hold: the flasks are hot.
pub(super) async fn hold(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
    sure: bool,
) -> Result<(), Fault> {
    let load = locked(conn, number, &[LoadState::Burning], seen).await?;
    let began = load.starts();
    let clock = (began, began.plus_minutes(total_minutes(&load.programme.0)));
    if !sure {
        let why = "unburnt pattern in a hot flask spoils the casting and gives off fumes";
        doubt::over(clock, signed.now, "burnout", why, "Is it really held?")?;
    }
    let flasks = store::flasks_of(conn, load.id).await?;
    flasks::move_on(conn, &flasks, FlaskState::InKiln, FlaskState::Hot, signed.now).await?;
    let batch = format!("load:{number}");
    let act = Act::new(signed.now, Some(signed.person))
        .in_batch(&batch)
        .with(timers::as_timed(Some(clock), signed.now));
    let wanted = pieces_in(conn, &flasks).await?;
    pieces::record(conn, &wanted, &Happening::Finished(Stage::Burnout), &act).await?;
    store::held(conn, load.id, signed.now).await?;
    timers::end(conn, &batch, signed.now).await?;
    Ok(())
}

/// Takes back what was recorded last by mistake: that the load is held, or that it was
/// started. Refused once a flask has been poured.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let load = locked(conn, number, &[LoadState::Burning, LoadState::Held], seen).await?;
    let flasks = store::flasks_of(conn, load.id).await?;
    let batch = format!("load:{number}");
    let act = Act::new(signed.now, Some(signed.person)).in_batch(&batch);
    let wanted = pieces_in(conn, &flasks).await?;
    if load.state == LoadState::Held {
        flasks::move_on(conn, &flasks, FlaskState::Hot, FlaskState::InKiln, signed.now).await?;
        pieces::reopen(conn, &wanted, Stage::Burnout, &batch, &act).await?;
        store::unheld(conn, load.id).await?;
        timers::take_back(conn, &batch, signed.now).await?;
    } else {
        flasks::move_on(conn, &flasks, FlaskState::InKiln, FlaskState::Setting, signed.now).await?;
        pieces::record(conn, &wanted, &Happening::Left(Stage::Burnout), &act).await?;
        store::unstarted(conn, load.id).await?;
        timers::end(conn, &batch, signed.now).await?;
    }
    Ok(())
}

/// The load is over; every flask has been poured or was lost.
pub(super) async fn end(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let load = locked(conn, number, &[LoadState::Held], seen).await?;
    let unpoured = store::unpoured(conn, load.id).await?;
    if let Some(flask) = unpoured {
        return Err(Refused::conflict(format!(
            "Flask {flask} has not been poured. Pour it, or record it as lost on its page; then end the load."
        ))
        .into());
    }
    store::ended(conn, load.id, signed.now).await?;
    Ok(())
}

/// Ends a held load by itself once its last flask is poured.
pub async fn end_when_empty(
    conn: &mut PgConnection,
    load: KilnLoadId,
    now: Moment,
) -> Result<(), Fault> {
    if store::unpoured(conn, load).await?.is_none() {
        store::ended(conn, load, now).await?;
    }
    Ok(())
}

/// A flask that was not poured after all stands hot in its load again; a load that ended with
/// its pour is held again, unless its kiln fires another by now.
pub async fn hold_again(
    conn: &mut PgConnection,
    load: KilnLoadId,
    flask: FlaskId,
    number: i32,
) -> Result<(), Fault> {
    if let Some((kiln, other)) = store::fires_another(conn, load).await? {
        return Err(Refused::conflict(format!(
            "{kiln} fires load {other} by now, so flask {number} cannot stand hot in it again. Correct the weights of its pour instead."
        ))
        .into());
    }
    store::unended(conn, load).await?;
    Ok(flasks::back_into_load(conn, load, flask).await?)
}

/// Gives up a load that has not started.
pub(super) async fn cancel(
    conn: &mut PgConnection,
    signed: &Signed,
    number: i32,
    seen: i64,
) -> Result<(), Fault> {
    let load = locked(conn, number, &[LoadState::Planned], seen).await?;
    store::cancel_planned(conn, Some(load.id), signed.now).await?;
    Ok(())
}
