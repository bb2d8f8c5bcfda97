//! The settings, in sections.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::people::{Owner, Signed};
use crate::settings::{StudioIndex, StudioSettings, actions, forms};
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "settings/settings.html")]
pub(crate) struct ShowSettings {
    frame: Frame,
    version: i64,
    zones: Vec<String>,
    form: Form,
}

async fn page(app: &App, signed: &Signed, form: Option<Form>) -> Result<ShowSettings, Fault> {
    let settings = Settings::load(&app.pool).await?;
    let form = form.unwrap_or_else(|| forms::filled(&settings));
    let zones = jiff::tz::db().available().map(|zone| zone.to_string()).collect();
    Ok(ShowSettings { frame: signed.frame.clone(), version: settings.version, zones, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<ShowSettings, Fault> {
    page(&app, &signed, None).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(settings) = forms::read_settings(&mut form) else {
        form.wrong("", "Nothing was saved yet: some fields below need another look.");
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change(conn, &signed, &settings).await?;
            Ok(StudioIndex)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some(form))).await
}
