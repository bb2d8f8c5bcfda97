//! Running a plate: start, finish with those that failed, take back, cancel.

use axum::extract::{Path, State};
use axum::response::Response;

use super::show::answer;
use crate::db::once::{self, Begun};
use crate::people::Signed;
use crate::pieces;
use crate::plates::actions;
use crate::plates::forms::noted;
use crate::web::{App, Fault, Form, see_other};

pub(crate) async fn start(
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
    let done = actions::start(&mut work.tx, &signed, number, seen).await;
    answer(&app, &signed, number, Form::default(), work, done).await
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
        Ok(failed) => {
            let noted = noted(&form, &failed);
            actions::finish(&mut work.tx, &signed, number, seen, &failed, &noted).await
        }
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
    answer(&app, &signed, number, Form::default(), work, done).await
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
    answer(&app, &signed, number, Form::default(), work, done).await
}
