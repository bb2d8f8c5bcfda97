//! What is recorded for a trial: pieces drawn, its end, its answer as the usual choice.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::people::{Owner, Signed};
use crate::pieces;
use crate::trials::actions;
use crate::web::{App, Fault, Form};

/// Runs one act on a trial once, and shows the trial again when it was refused.
async fn run<F>(
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
            Ok(format!("/trials/{number}"))
        })
        .await?;
    ended.or_show(super::show::page(app, signed, number, form)).await
}

pub(crate) async fn draw(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let attempts = pieces::ticked(&mut form);
    if !form.good() {
        let page = super::show::page(&app, &signed, number, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    run(&app, &signed, number, form, async |conn, seen| {
        actions::draw(conn, &signed, number, seen, &attempts).await
    })
    .await
}

pub(crate) async fn end(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    run(&app, &signed, number, form, async |conn, seen| {
        actions::end(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn make_usual(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    run(&app, &signed, number, form, async |conn, seen| {
        actions::make_usual(conn, &signed, number, seen).await
    })
    .await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    form: Form,
) -> Result<Response, Fault> {
    run(&app, &signed, number, form, async |conn, seen| {
        actions::take_back(conn, &signed, number, seen).await
    })
    .await
}
