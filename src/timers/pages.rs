//! Every clock that runs, on one page, started and stopped from any device.

use askama::Template;
use askama_web::WebTemplate;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::forms::ClockForm;
use super::store::{self, Timer};
use crate::clock::Moment;
use crate::id::TimerId;
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

const PLACE: &str = "/timers";

#[derive(Template, WebTemplate)]
#[template(path = "timers/list.html")]
pub(crate) struct Clocks {
    frame: Frame,
    clocks: Vec<Timer>,
    form: Form,
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<Clocks, Fault> {
    let clocks = store::running(&app.pool).await?;
    Ok(Clocks { frame: signed.frame.clone(), clocks, form })
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Clocks, Fault> {
    page(&app, &signed, Form::filled([("minutes", "10".to_owned())])).await
}

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

pub(crate) async fn start(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(clock) = ClockForm::read(&mut form) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut conn = app.pool.acquire().await?;
    if let Some(why) = store::hindrance(&mut conn, &clock.subject).await? {
        drop(conn);
        form.wrong("of", why);
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    drop(conn);
    form.act_once(&app.pool, signed.now, async |conn| {
        store::start(conn, &clock.subject, &clock.name, signed.now, clock.minutes).await?;
        Ok(PLACE)
    })
    .await?
    .led()
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
        Ok(PLACE)
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
