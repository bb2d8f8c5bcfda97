//! Laying a plate out: its settings, pieces put on and taken off.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{page, step};
use crate::people::Signed;
use crate::pieces;
use crate::plates::actions;
use crate::plates::forms::SettingForm;
use crate::web::{App, Fault, Form};

pub(crate) async fn settings(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(setting) = SettingForm::read(&mut form) else {
        let page = page(&app, &signed, number, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::settings(&app.pool, conn, &signed, number, seen, &setting).await
    })
    .await
}

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let attempts = pieces::ticked(&mut form);
    if !form.good() {
        let page = page(&app, &signed, number, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    step(&app, &signed, number, form, async |conn, seen| {
        actions::add(&app.pool, conn, &signed, number, seen, &attempts).await
    })
    .await
}

pub(crate) async fn take_off(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    let Ok(attempt) = form.value("piece").parse() else { return Err(Fault::NotFound) };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::take_off(conn, &signed, number, seen, attempt).await
    })
    .await
}
