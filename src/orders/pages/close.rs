//! The two ends of an order: handed over, or cancelled.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::orders::{Order, actions};
use crate::people::Signed;
use crate::web::{App, Fault, Form};

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
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::cancel(conn, &signed, number, &why).await?;
            Ok(Order(number))
        })
        .await?;
    let forms = Forms { end: form, ..Forms::default() };
    ended.or_show(page(&app, &signed, number, forms)).await
}

pub(crate) async fn hand_over(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::hand_over(conn, &signed, number).await?;
            Ok(Order(number))
        })
        .await?;
    let forms = Forms { end: form, ..Forms::default() };
    ended.or_show(page(&app, &signed, number, forms)).await
}
