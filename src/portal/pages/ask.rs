//! A question of the client.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::page;
use crate::db::once::{self, Begun};
use crate::portal::guest::Guest;
use crate::portal::questions;
use crate::web::{App, Fault, Form, Refused, see_other};

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
    let place = format!("{}#questions", guest.path());
    let mut work = match once::begin(&app.pool, form.key(), guest.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let since = guest.now.plus_minutes(-60);
    if questions::asked_since(&mut work.tx, guest.order.id, since).await? >= AN_HOUR {
        drop(work);
        let refused = Refused {
            status: StatusCode::TOO_MANY_REQUESTS,
            message: "That is a lot within an hour. The studio has what you wrote; write the rest a little later, or call."
                .to_owned(),
            field: Some("question"),
        };
        form.refuse(&refused);
        return Ok((refused.status, page(&app, guest, form).await?).into_response());
    }
    questions::say(&mut work.tx, guest.order.id, &words, None, guest.now).await?;
    work.commit(&place).await?;
    Ok(see_other(&place))
}
