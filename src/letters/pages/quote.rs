//! A quote goes out, and the letter to the client is begun with it.

use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

use super::list::site;
use crate::letters::actions;
use crate::people::Owner;
use crate::quotes::{Sending, quote_page};
use crate::web::{App, Fault, Form};

/// Makes a quote final and leads to what is next: the prepared letter when the client has an
/// address, else the link that has to reach them some other way.
pub(crate) async fn send(
    State(app): State<App>,
    Owner(signed): Owner,
    headers: HeaderMap,
    Path((number, n)): Path<(i32, i32)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(sending) = Sending::read(&app, &signed, (number, n), &mut form).await? else {
        let page = quote_page(&app, &signed, number, n, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let site = site(&app, &headers);
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            sending.send(conn, &signed).await?;
            actions::after_quote(conn, &signed, number, &site).await
        })
        .await?;
    ended.or_show(quote_page(&app, &signed, number, n, Some(form))).await
}
