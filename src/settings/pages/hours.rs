//! Working hours and closed days.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clock::Day;
use crate::db::once::{self, Begun};
use crate::people::{Owner, Signed};
use crate::settings::forms::{self, ClosedDay};
use crate::settings::{ClosedDays, Hours, StudioIndex, actions};
use crate::studio::{Settings, Week};
use crate::web::{App, Ended, Fault, Form, Frame, Html, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "settings/hours.html")]
pub(crate) struct ShowHours {
    frame: Frame,
    version: i64,
    closed: Vec<(Day, String)>,
    form: Form,
    closing: Form,
}

impl ShowHours {
    /// Each day's name and its fields.
    fn days(&self) -> Vec<(&'static str, Vec<Html>)> {
        forms::hours_fields(&self.form)
    }
}

async fn page(
    app: &App,
    signed: &Signed,
    form: Option<Form>,
    closing: Form,
) -> Result<ShowHours, Fault> {
    let settings = Settings::load(&app.pool).await?;
    let week = Week::of_studio(&app.pool, signed.now.day_in(&settings.zone())).await?;
    let form = form.unwrap_or_else(|| forms::hours_filled(&week.hours));
    let frame = signed.frame.clone();
    Ok(ShowHours { frame, version: settings.version, closed: week.closed, form, closing })
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<ShowHours, Fault> {
    page(&app, &signed, None, Form::default()).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(week) = forms::read_hours(&mut form) else {
        let page = page(&app, &signed, Some(form), Form::default()).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done =
        actions::set_hours(&mut work.tx, &signed, &week, seen).await.map(|()| Hours.to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            let page = page(&app, &signed, Some(form), Form::default()).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(crate) async fn close(
    State(app): State<App>,
    Owner(signed): Owner,
    mut closing: Form,
) -> Result<Response, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let Some(closed) = ClosedDay::read(&mut closing, today) else {
        let page = page(&app, &signed, None, closing).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, closing.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    actions::close(&mut work.tx, &signed, &closed).await?;
    let place = Hours.to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}

pub(crate) async fn reopen(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(day): Path<Day>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    actions::reopen(&mut work.tx, &signed, day).await?;
    let place = Hours.to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}
