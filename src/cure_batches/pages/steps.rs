//! The steps of a cure batch: begin, washed, finished with those that failed, cancelled.

use axum::extract::{Path, State};
use axum::response::Response;

use super::show::step;
use crate::cure_batches::actions;
use crate::people::Signed;
use crate::pieces;
use crate::web::{App, Fault, Form};

pub(crate) async fn take_out(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    let Ok(attempt) = form.value("piece").parse() else { return Err(Fault::NotFound) };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::take_out(conn, &signed, number, seen, attempt).await
    })
    .await
}

pub(crate) async fn begin(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::begin(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn washed(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    let sure = form.is_sure();
    step(&app, &signed, number, form, async |conn, seen| {
        actions::washed(conn, &signed, number, seen, sure).await
    })
    .await
}

pub(crate) async fn finish(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    let (failed, sure) = (pieces::failures(&form), form.is_sure());
    step(&app, &signed, number, form, async |conn, seen| {
        actions::finish(conn, &signed, number, seen, &failed?, sure).await
    })
    .await
}

pub(crate) async fn cancel(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::cancel(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::take_back(conn, &signed, number, seen).await
    })
    .await
}
