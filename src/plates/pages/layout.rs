//! Laying a plate out: its settings, pieces put on and taken off.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{answer, page};
use crate::db::once::{self, Begun};
use crate::people::Signed;
use crate::pieces;
use crate::plates::actions;
use crate::plates::forms::SettingForm;
use crate::web::{App, Fault, Form, see_other};

pub(crate) async fn settings(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(setting) = SettingForm::read(&mut form) else {
        let page = page(&app, &signed, number, Some((form, None))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::settings(&app.pool, &mut work.tx, &signed, number, seen, &setting).await;
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let attempts = pieces::ticked(&mut form);
    if !form.good() {
        let page = page(&app, &signed, number, Some((form, None))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::add(&app.pool, &mut work.tx, &signed, number, seen, &attempts).await;
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn take_off(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Ok(attempt) = form.value("piece").parse() else { return Err(Fault::NotFound) };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::take_off(&mut work.tx, &signed, number, seen, attempt).await;
    answer(&app, &signed, number, Form::default(), work, done).await
}
