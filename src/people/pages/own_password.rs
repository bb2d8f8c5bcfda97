//! Changing one's own password, which ends all other sessions.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Response};

use crate::people::{Signed, hash_password, password, store};
use crate::web::{App, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "people/own_password.html")]
pub(crate) struct OwnPassword {
    frame: Frame,
    form: Form,
}

pub(crate) async fn show(signed: Signed) -> OwnPassword {
    OwnPassword { frame: signed.frame, form: Form::default() }
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let now_hash = store::find_hash(&app.pool, signed.person).await?;
    if !password::is_right(form.value("current").to_owned(), Some(now_hash)).await {
        form.wrong("current", "This is not your password.");
    }
    let hash = hash_password(form.value("password").to_owned()).await;
    if let Err(refusal) = &hash {
        form.wrong("password", refusal.to_string());
    }
    let (Ok(hash), true) = (hash, form.good()) else {
        let page = OwnPassword { frame: signed.frame, form };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut tx = app.pool.begin().await?;
    store::set_password(&mut tx, signed.person, &hash).await?;
    store::close_sessions_of(&mut tx, signed.person).await?;
    tx.commit().await?;
    let token = store::open_session(&app.pool, signed.person, "", signed.now).await?;
    let mut response = see_other("/");
    response
        .headers_mut()
        .insert(SET_COOKIE, super::sign_in::cookie(&token, 30 * 24 * 3600, app.secure_cookies));
    Ok(response)
}
