//! The client's yes or no.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::page;
use crate::portal::actions::{self, Said};
use crate::portal::guest::Guest;
use crate::web::{App, Fault, Form};

enum Answer {
    Yes(String),
    No(String),
}

pub(crate) async fn yes(
    State(app): State<App>,
    guest: Guest,
    mut form: Form,
) -> Result<Response, Fault> {
    let name = form.line("name", 200);
    if name.chars().count() < 2 {
        form.wrong("name", "Please type your name; it stands for your signature.");
    }
    answer(&app, guest, form, Answer::Yes(name)).await
}

pub(crate) async fn no(
    State(app): State<App>,
    guest: Guest,
    mut form: Form,
) -> Result<Response, Fault> {
    let words = form.text("words", 2000);
    answer(&app, guest, form, Answer::No(words)).await
}

async fn answer(
    app: &App,
    guest: Guest,
    mut form: Form,
    answer: Answer,
) -> Result<Response, Fault> {
    let seen = form.value("quote").parse().unwrap_or(-1);
    if !form.good() {
        let page = page(app, guest, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let option = form.value("option").parse().ok();
    let total = form.value(&format!("total_{}", option.unwrap_or(0))).parse().ok();
    let ended = form
        .act_once(&app.pool, guest.now, async |conn| {
            match &answer {
                Answer::Yes(name) => {
                    let said = Said { quote: seen, name, option, total };
                    actions::say_yes(conn, &app.pool, &guest, &said).await?;
                }
                Answer::No(words) => actions::say_no(conn, &guest, seen, words).await?,
            }
            Ok(guest.path())
        })
        .await?;
    ended.or_show(page(app, guest, form)).await
}
