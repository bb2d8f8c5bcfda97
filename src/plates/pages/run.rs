//! Running a plate: start, finish with those that failed, take back, cancel.

use axum::extract::{Path, State};
use axum::response::Response;

use super::show::step;
use crate::people::Signed;
use crate::pieces;
use crate::plates::actions;
use crate::plates::forms::noted;
use crate::web::{App, Fault, Form};

pub(crate) async fn start(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::start(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn finish(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    let read = pieces::failures(&form).map(|failed| (noted(&form, &failed), failed));
    let sure = form.is_sure();
    step(&app, &signed, number, form, async |conn, seen| {
        let (noted, failed) = read?;
        actions::finish(conn, &signed, number, seen, &failed, &noted, sure).await
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
