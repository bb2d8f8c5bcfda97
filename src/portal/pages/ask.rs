//! A question of the client.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::page;
use crate::portal::guest::Guest;
use crate::portal::questions;
use crate::web::{App, Fault, Form, Refused};

/// Questions that are taken in an hour; more come from a machine.
const AN_HOUR: i64 = 20;

pub(crate) async fn submit(
    State(app): State<App>,
    guest: Guest,
    mut form: Form,
) -> Result<Response, Fault> {
    let words = form.needed("question", 4000);
    if !form.good() {
        let page = page(&app, guest, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let ended = form
        .act_once(&app.pool, guest.now, async |conn| {
let since = guest.now.plus_minutes(-60);
if questions::asked_since(conn, guest.order.id, since).await? >= AN_HOUR {
    let refused = Refused {
        status: StatusCode::TOO_MANY_REQUESTS,
        message: "That is a lot within an hour. The studio has what you wrote; write the rest a little later, or call."
            .to_owned(),
        field: Some("question"),
    };
    return Err(refused.into());
}
questions::say(conn, guest.order.id, &words, None, guest.now).await?;
Ok(format!("{}#questions", guest.path()))
        })
        .await?;
    ended.or_show(page(&app, guest, form)).await
}
