//! What is done to clocks that run, and what the pages' script is told of them.

use axum::Json;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::store::{self, Timer};
use crate::clock::Moment;
use crate::id::TimerId;
use crate::people::Signed;
use crate::web::{App, Fault, Form, Refused};

const PLACE: &str = "/timers";

/// A clock as the pages' script reads it.
#[derive(Serialize)]
struct Running {
    id: TimerId,
    name: String,
    of: String,
    path: String,
    due_at: String,
    loses: bool,
}

#[derive(Serialize)]
struct Told {
    now: String,
    clocks: Vec<Running>,
}

/// The clocks that run, with the server's time: a device's own clock may be wrong.
pub(crate) async fn running(State(app): State<App>, signed: Signed) -> Result<Response, Fault> {
    let clocks = store::running(&app.pool).await?;
    let exact = |at: Moment| at.0.strftime("%Y-%m-%dT%H:%M:%S%.3fZ").to_string();
    let told = |clock: &Timer| Running {
        id: clock.id,
        name: clock.name.clone(),
        of: clock.subject_words(),
        path: clock.path(),
        due_at: exact(clock.due_at),
        loses: clock.loses(),
    };
    let clocks = clocks
        .iter()
        .filter(|clock| !clock.has_passed_on(&clocks, &signed.now))
        .map(told)
        .collect();
    Ok(Json(Told { now: exact(signed.now), clocks }).into_response())
}

/// Stops one clock; one that was stopped already stays as it is.
pub(crate) async fn stop(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<TimerId>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        store::stop(conn, id, signed.now).await?;
        Ok(format!("{PLACE}?stopped={id}"))
    })
    .await?
    .led()
}

/// Lets a clock run on that was stopped by mistake.
pub(crate) async fn run_on(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<TimerId>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        if store::run_on(conn, id, signed.now).await? {
            return Ok(PLACE);
        }
        Err(Refused::conflict(
            "What this clock belonged to has gone on since, so it does not run on. Start a new one if something is to be timed.",
        )
        .into())
    })
    .await?
    .led()
}

/// Gives one clock more minutes, from now on when its time is up.
pub(crate) async fn more(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<TimerId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let minutes = form.whole("minutes", 1, 600).unwrap_or(5);
    form.act_once(&app.pool, signed.now, async |conn| {
        store::more(conn, id, minutes, signed.now).await?;
        Ok(PLACE)
    })
    .await?
    .led()
}
