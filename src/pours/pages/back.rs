//! A pour taken back, or its weights corrected; asked for on the page of its flask.

use axum::extract::{Path, State};
use axum::response::Response;

use crate::flasks;
use crate::people::Signed;
use crate::pours::actions;
use crate::pours::forms::Weights;
use crate::web::{App, Fault, Form};

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    flasks::step(&app, &signed, number, form, async |conn, seen| {
        actions::take_back(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn correct(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(weights) = Weights::read(&mut form) else {
        return flasks::unread(&app, &signed, number, form).await;
    };
    flasks::step(&app, &signed, number, form, async |conn, seen| {
        actions::correct(conn, &signed, number, seen, weights).await
    })
    .await
}
