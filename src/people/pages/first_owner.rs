//! The first start: whoever holds the key that the start printed becomes the owner.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::people::{Role, hash_password, store};
use crate::web::{App, Fault, Form, asset, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "people/first_owner.html")]
pub(crate) struct FirstOwner {
    style: String,
    form: Form,
}

#[derive(Deserialize)]
pub(crate) struct Key {
    #[serde(default)]
    key: String,
}

pub(crate) async fn show(
    State(app): State<App>,
    Query(Key { key }): Query<Key>,
) -> Result<Response, Fault> {
    if store::count(&app.pool).await? > 0 {
        return Ok(see_other("/sign-in"));
    }
    let form = Form::filled([
        ("key", key),
        ("time_zone", "Europe/Berlin".to_owned()),
        ("currency", "EUR".to_owned()),
    ]);
    Ok(FirstOwner { style: asset("app.css"), form }.into_response())
}

pub(crate) async fn submit(State(app): State<App>, mut form: Form) -> Result<Response, Fault> {
    if store::count(&app.pool).await? > 0 {
        return Ok(see_other("/sign-in"));
    }
    let now = app.clock.now();
    let expected = store::set_up_key(&app.pool).await?;
    if expected.is_none_or(|key| key != form.value("key").trim().as_bytes()) {
        form.wrong(
            "key",
            "This is not the key that the start printed. Look at the program's output.",
        );
    }
    let studio = form.needed("studio", 200);
    let name = form.needed("name", 200);
    let login = form.line("login", 80).to_lowercase();
    if login.chars().count() < 2 {
        form.wrong("login", "At least two characters are needed.");
    }
    let zone = form.needed("time_zone", 80);
    if TimeZone::get(&zone).is_err() {
        form.wrong("time_zone", "This is not a time zone known here; write it like Europe/Lisbon.");
    }
    let currency = form.needed("currency", 3).to_uppercase();
    if let Err(refusal) = foundry::quantity::Currency::by_code(&currency) {
        form.wrong("currency", refusal.to_string());
    }
    let hash = match hash_password(form.value("password").to_owned()).await {
        Ok(hash) => hash,
        Err(refusal) => {
            form.wrong("password", refusal.to_string());
            String::new()
        }
    };
    if !form.good() {
        let page = FirstOwner { style: asset("app.css"), form };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut tx = app.pool.begin().await?;
    // Two who send the form at once: the second finds the first and is sent to sign in.
    store::hold_all(&mut tx).await?;
    if store::count(&mut *tx).await? > 0 {
        return Ok(see_other("/sign-in"));
    }
    let person = store::add(&mut *tx, &name, &login, Role::Owner, &hash, now).await?;
    crate::studio::found(&mut tx, &studio, &zone, &currency).await?;
    tx.commit().await?;
    let token = store::open_session(&app.pool, person, "", now).await?;
    let mut response = see_other("/studio");
    response
        .headers_mut()
        .insert(SET_COOKIE, super::sign_in::cookie(&token, 30 * 24 * 3600, app.secure_cookies));
    Ok(response)
}
