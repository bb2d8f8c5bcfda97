//! The two ends of an order: handed over, or cancelled.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::db::once::{self, Begun};
use crate::orders::{Order, actions};
use crate::people::Signed;
use crate::web::{App, Ended, Fault, Form, see_other};

pub(crate) async fn cancel(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let why = form.text("why", 1000);
    if !form.good() {
        let forms = Forms { end: form, ..Forms::default() };
        let page = page(&app, &signed, number, forms).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let outcome = actions::cancel(&mut work.tx, &signed, number, &why).await;
    finish(&app, &signed, number, form, work, outcome).await
}

pub(crate) async fn hand_over(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let outcome = actions::hand_over(&mut work.tx, &signed, number).await;
    finish(&app, &signed, number, form, work, outcome).await
}

async fn finish(
    app: &App,
    signed: &Signed,
    number: i32,
    mut form: Form,
    work: once::Work,
    outcome: Result<(), Fault>,
) -> Result<Response, Fault> {
    let done = outcome.map(|()| Order(number).to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            let forms = Forms { end: form, ..Forms::default() };
            Ok((status, page(app, signed, number, forms).await?).into_response())
        }
    }
}
