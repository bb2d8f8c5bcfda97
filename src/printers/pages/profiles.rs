//! The profiles of a printer: added, and taken out of use.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::printer::page;
use crate::db::once::{self, Begun, Work};
use crate::id::{PrinterId, ProfileId};
use crate::people::{Owner, Signed};
use crate::printers::forms::ProfileForm;
use crate::printers::{Printer, actions};
use crate::web::{App, Ended, Fault, Form, see_other};

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
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = actions::add_profile(&mut work.tx, &signed, id, &profile).await;
    answer(&app, &signed, id, form, work, done).await
}

pub(crate) async fn retire(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((id, profile)): Path<(PrinterId, ProfileId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let (retire, seen) = (form.value("retire") == "yes", form.version());
    let done = actions::retire_profile(&mut work.tx, &signed, id, profile, retire, seen).await;
    answer(&app, &signed, id, form, work, done).await
}

async fn answer(
    app: &App,
    signed: &Signed,
    id: PrinterId,
    mut form: Form,
    work: Work,
    done: Result<(), Fault>,
) -> Result<Response, Fault> {
    let done = done.map(|()| Printer(id).to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            let page = page(app, signed, id, None, Some(form)).await?;
            Ok((status, page).into_response())
        }
    }
}
