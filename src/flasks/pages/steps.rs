//! The steps of a flask: weigh, mix, set, divest; or give it up.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::flasks::forms::{Divesting, Weighing};
use crate::flasks::{actions, divest, lost};
use crate::people::Signed;
use crate::web::{App, Fault, Form};

/// Shows the flask again with the messages of a form that was not right.
pub(crate) async fn unread(
    app: &App,
    signed: &Signed,
    number: i32,
    form: Form,
) -> Result<Response, Fault> {
    let page = super::show::page(app, signed, number, Some(form)).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// Runs one step of a flask once, and shows the flask again when it was refused.
pub(crate) async fn step<F>(
    app: &App,
    signed: &Signed,
    number: i32,
    mut form: Form,
    act: F,
) -> Result<Response, Fault>
where
    F: AsyncFnOnce(&mut sqlx::PgConnection, i64) -> Result<(), Fault>,
{
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            act(conn, seen).await?;
            Ok(format!("/flasks/{number}"))
        })
        .await?;
    ended.or_show(super::show::page(app, signed, number, Some(form))).await
}

pub(crate) async fn weigh(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(weighing) = Weighing::read(&mut form) else {
        return unread(&app, &signed, number, form).await;
    };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::weigh(conn, &signed, number, seen, &weighing).await
    })
    .await
}

pub(crate) async fn mix(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(slurry_c) = form.number("slurry_c", 1.0, 45.0) else {
        return unread(&app, &signed, number, form).await;
    };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::start_mix(conn, &signed, number, seen, slurry_c).await
    })
    .await
}

pub(crate) async fn set(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        actions::leave_to_set(conn, &signed, number, seen).await
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

pub(crate) async fn divest(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(weights) = Divesting::read(&mut form) else {
        return unread(&app, &signed, number, form).await;
    };
    step(&app, &signed, number, form, async |conn, seen| {
        divest::divest(conn, &signed, number, seen, weights).await
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

pub(crate) async fn lost(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let cause = form.needed("cause", 200);
    if !form.good() {
        return unread(&app, &signed, number, form).await;
    }
    step(&app, &signed, number, form, async |conn, seen| {
        lost::lose(conn, &signed, number, Some(seen), &cause).await
    })
    .await
}

pub(crate) async fn found(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        lost::find(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn undivest(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, number, form, async |conn, seen| {
        divest::take_back(conn, &signed, number, seen).await
    })
    .await
}
