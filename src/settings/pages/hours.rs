//! Working hours and closed days.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clock::Day;
use crate::people::{Owner, Signed};
use crate::settings::forms::{self, ClosedDay};
use crate::settings::{ClosedDays, Hours, StudioIndex, actions};
use crate::studio::{Settings, Week};
use crate::web::{App, Fault, Form, Frame, Html};

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
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::set_hours(conn, &signed, &week, seen).await?;
            Ok(Hours)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some(form), Form::default())).await
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
    closing
        .act_once(&app.pool, signed.now, async |conn| {
            actions::close(conn, &signed, &closed).await?;
            Ok(Hours)
        })
        .await?
        .led()
}

pub(crate) async fn reopen(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(day): Path<Day>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        actions::reopen(conn, &signed, day).await?;
        Ok(Hours)
    })
    .await?
    .led()
}
