//! A stage's sheet as a page of its own, and the taps on it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use super::sheets::Step;
use super::store::{self, Subject};
use super::view::{self, Line};
use super::{actions, clocks, forms, sheets};
use crate::people::Signed;
use crate::pieces::Stage;
use crate::timers;
use crate::web::{App, Fault, Form, Frame};

/// The address of a sheet.
pub(super) fn place(stage: Stage, which: &str) -> String {
    format!("/steps/{stage}/{which}")
}

#[derive(Template, WebTemplate)]
#[template(path = "steps/show.html")]
pub(crate) struct ShowSheet {
    frame: Frame,
    title: String,
    /// The page of the thing itself.
    thing: String,
    place: String,
    lines: Vec<Line>,
    refusal: Option<String>,
}

/// The page of the thing that a subject is.
fn thing(subject: &Subject) -> String {
    match subject.name.strip_prefix("piece:") {
        Some(label) => format!("/finishing/{label}"),
        None => timers::subject_path(&subject.name).unwrap_or_else(|| "/".to_owned()),
    }
}

/// Where a tap leads: back to the sheet it was made on, which is either on the page of the thing or
/// the large one.
fn back(subject: &Subject, which: &str, form: &Form) -> String {
    match form.value("large") {
        "yes" => place(subject.stage, which),
        _ => format!("{}#steps", thing(subject)),
    }
}

async fn find(app: &App, stage: &str, which: &str) -> Result<Subject, Fault> {
    let stage: Stage = stage.parse().map_err(|()| Fault::NotFound)?;
    let mut conn = app.pool.acquire().await?;
    store::subject(&mut conn, stage, which).await?.ok_or(Fault::NotFound)
}

async fn page(
    app: &App,
    signed: &Signed,
    subject: &Subject,
    which: &str,
    refused: Option<(&str, Form)>,
) -> Result<ShowSheet, Fault> {
    let refusal = refused.as_ref().and_then(|(_, form)| form.general_error().map(str::to_owned));
    let show = &signed.frame.show;
    let lines = view::lines(&app.pool, show, subject, refused).await?;
    let thing_words = subject.name.replacen(':', " ", 1);
    Ok(ShowSheet {
        frame: signed.frame.clone(),
        title: format!("{}, {thing_words}", subject.stage.title()),
        thing: thing(subject),
        place: place(subject.stage, which),
        lines,
        refusal,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path((stage, which)): Path<(String, String)>,
) -> Result<ShowSheet, Fault> {
    let subject = find(&app, &stage, &which).await?;
    page(&app, &signed, &subject, &which, None).await
}

pub(crate) async fn record(
    State(app): State<App>,
    signed: Signed,
    Path((stage, which, step)): Path<(String, String, String)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let subject = find(&app, &stage, &which).await?;
    let step = sheets::find(subject.stage, &step).ok_or(Fault::NotFound)?;
    // What its clock counted are its minutes, unless others were typed.
    if step.counts_work()
        && form.value("minutes").trim().is_empty()
        && let Some(count) = clocks::count_of(&app.pool, &subject, step.key).await?
    {
        form.set("minutes", &count.minutes(signed.now).to_string());
    }
    let Some(told) = forms::read(step, &mut form) else {
        let page = page(&app, &signed, &subject, &which, Some((step.key, form))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let place = back(&subject, &which, &form);
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::record(conn, &signed, &subject, step, told).await?;
            Ok(place)
        })
        .await?;
    ended.or_show(page(&app, &signed, &subject, &which, Some((step.key, form)))).await
}

/// What is done to the clock of a step.
#[derive(Clone, Copy)]
enum Turn {
    Start,
    /// What it counted stands in the step's form.
    Stop,
    /// What it counted was a mistake.
    Forget,
}

pub(crate) async fn start_clock(
    State(app): State<App>,
    signed: Signed,
    Path(path): Path<(String, String, String)>,
    form: Form,
) -> Result<Response, Fault> {
    turn_clock(&app, &signed, path, form, Turn::Start).await
}

pub(crate) async fn stop_clock(
    State(app): State<App>,
    signed: Signed,
    Path(path): Path<(String, String, String)>,
    form: Form,
) -> Result<Response, Fault> {
    turn_clock(&app, &signed, path, form, Turn::Stop).await
}

pub(crate) async fn forget_clock(
    State(app): State<App>,
    signed: Signed,
    Path(path): Path<(String, String, String)>,
    form: Form,
) -> Result<Response, Fault> {
    turn_clock(&app, &signed, path, form, Turn::Forget).await
}

async fn turn_clock(
    app: &App,
    signed: &Signed,
    (stage, which, step): (String, String, String),
    mut form: Form,
    turn: Turn,
) -> Result<Response, Fault> {
    let (subject, step) = timed(app, &stage, &which, &step).await?;
    let place = back(&subject, &which, &form);
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            match turn {
                Turn::Start => {
                    actions::possible(conn, &subject, step).await?;
                    clocks::start(conn, &subject, step.key, signed.now, signed.person).await?;
                }
                Turn::Stop => clocks::stop(conn, &subject, step.key, signed.now).await?,
                Turn::Forget => clocks::forget(conn, &subject, step.key).await?,
            }
            Ok(place)
        })
        .await?;
    ended.or_show(page(app, signed, &subject, &which, Some((step.key, form)))).await
}

/// A step that has a clock of its own.
async fn timed(
    app: &App,
    stage: &str,
    which: &str,
    step: &str,
) -> Result<(Subject, &'static Step), Fault> {
    let subject = find(app, stage, which).await?;
    let step = sheets::find(subject.stage, step).filter(|step| step.counts_work());
    Ok((subject, step.ok_or(Fault::NotFound)?))
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path((stage, which, _step)): Path<(String, String, String)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let subject = find(&app, &stage, &which).await?;
    let id: Uuid = form.value("record").parse().map_err(|_| Fault::NotFound)?;
    let place = back(&subject, &which, &form);
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::take_back(conn, &signed, &subject, id).await?;
            Ok(place)
        })
        .await?;
    ended.or_show(page(&app, &signed, &subject, &which, Some(("", form)))).await
}
