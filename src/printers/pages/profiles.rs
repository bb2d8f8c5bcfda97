//! The profiles of a printer: added, and taken out of use.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::printer::page;
use crate::id::{PrinterId, ProfileId};
use crate::people::Owner;
use crate::printers::forms::ProfileForm;
use crate::printers::{Printer, actions};
use crate::web::{App, Fault, Form};

pub(crate) async fn add(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PrinterId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(profile) = ProfileForm::read(&mut form) else {
        let page = page(&app, &signed, id, None, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::add_profile(conn, &signed, id, &profile).await?;
            Ok(Printer(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, None, Some(form))).await
}

pub(crate) async fn retire(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((id, profile)): Path<(PrinterId, ProfileId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let (retire, seen) = (form.value("retire") == "yes", form.version());
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::retire_profile(conn, &signed, id, profile, retire, seen).await?;
            Ok(Printer(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, None, Some(form))).await
}
