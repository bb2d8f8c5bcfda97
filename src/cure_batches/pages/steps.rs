//! The steps of a cure batch: begin, washed, finished with those that failed, cancelled.

use axum::extract::{Path, State};
use axum::response::Response;

use super::show::answer;
use crate::cure_batches::actions;
use crate::db::once::{self, Begun};
use crate::people::Signed;
use crate::pieces;
use crate::web::{App, Fault, Form, see_other};

pub(crate) async fn take_out(
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
    let done = actions::take_out(&mut work.tx, &signed, number, seen, attempt).await;
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn begin(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::begin(&mut work.tx, &signed, number, seen).await;
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn washed(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::washed(&mut work.tx, &signed, number, seen).await;
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn finish(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = match pieces::failures(&form) {
        Ok(failed) => actions::finish(&mut work.tx, &signed, number, seen, &failed).await,
        Err(refused) => Err(refused.into()),
    };
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn cancel(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::cancel(&mut work.tx, &signed, number, seen).await;
    answer(&app, &signed, number, form, work, done).await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = actions::take_back(&mut work.tx, &signed, number, seen).await;
    answer(&app, &signed, number, form, work, done).await
}
