//! Every clock that runs and every step somebody works on, on one page, started and stopped from
//! any device.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::back::{BACK_TO_CLOCKS, Did, did};
use super::clock_form::ClockForm;
use crate::id::TimerId;
use crate::people::Signed;
use crate::steps::{self, AtWork};
use crate::timers::{self, Timer};
use crate::web::{App, Fault, Form, Frame};

const PLACE: &str = "/timers";

#[derive(Template, WebTemplate)]
#[template(path = "now/clocks.html")]
pub(crate) struct Clocks {
    frame: Frame,
    clocks: Vec<Timer>,
    at_work: Vec<AtWork>,
    form: Form,
    /// A clock that was just stopped.
    stopped: Option<Timer>,
    /// A step at which was just tapped.
    did: Option<Did>,
    back: &'static str,
}

/// What was done last, by the address that it led to.
#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Asked {
    stopped: Option<TimerId>,
    #[serde(default)]
    did: String,
}

async fn page(app: &App, signed: &Signed, asked: &Asked, form: Form) -> Result<Clocks, Fault> {
    let mut clocks = timers::running(&app.pool).await?;
    timers::by_urgency(&mut clocks, &signed.now);
    let stopped = match asked.stopped {
        Some(id) => timers::find(&app.pool, id).await?.filter(|clock| clock.ended_at.is_some()),
        None => None,
    };
    Ok(Clocks {
        frame: signed.frame.clone(),
        clocks,
        at_work: steps::at_work(&app.pool).await?,
        form,
        stopped,
        did: did(&app.pool, &asked.did).await?,
        back: BACK_TO_CLOCKS,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(asked): Query<Asked>,
) -> Result<Clocks, Fault> {
    page(&app, &signed, &asked, Form::filled([("minutes", "10".to_owned())])).await
}

pub(crate) async fn start(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(clock) = ClockForm::read(&mut form) else {
        let page = page(&app, &signed, &Asked::default(), form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut conn = app.pool.acquire().await?;
    if let Some(why) = timers::hindrance(&mut conn, &clock.subject).await? {
        drop(conn);
        form.wrong("of", why);
        let page = page(&app, &signed, &Asked::default(), form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    drop(conn);
    form.act_once(&app.pool, signed.now, async |conn| {
        timers::start(conn, &clock.subject, &clock.name, signed.now, clock.minutes).await?;
        Ok(PLACE)
    })
    .await?
    .led()
}
