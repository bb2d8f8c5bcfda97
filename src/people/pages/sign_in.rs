//! Signing in and out.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, Request, State};
use axum::http::header::{SET_COOKIE, USER_AGENT};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::people::guard::{COOKIE_NAME, token};
use crate::people::{password, store};
use crate::web::{App, Fault, Form, asset, client_address, see_other};

/// So many failures for one name, or for one address, within [`WINDOW_MIN`] close the door.
const MOST_BY_NAME: i64 = 8;
const MOST_BY_ADDRESS: i64 = 40;
const WINDOW_MIN: i64 = 15;

#[derive(Template, WebTemplate)]
#[template(path = "people/sign_in.html")]
pub(crate) struct SignIn {
    style: String,
    form: Form,
    next: String,
}

#[derive(Deserialize)]
pub(crate) struct Next {
    #[serde(default)]
    next: String,
}

/// Only places of our own are gone to after signing in.
fn own_place(next: &str) -> &str {
    if next.starts_with('/') && !next.starts_with("//") && !next.contains('\\') {
        next
    } else {
        "/"
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    Query(Next { next }): Query<Next>,
) -> Result<Response, Fault> {
    if store::count(&app.pool).await? == 0 {
        return Ok(see_other("/first-owner"));
    }
    let next = own_place(&next).to_owned();
    Ok(SignIn { style: asset("app.css"), form: Form::default(), next }.into_response())
}

pub(crate) async fn submit(
    State(app): State<App>,
    headers: HeaderMap,
    request: Request,
) -> Result<Response, Fault> {
    let (parts, body) = request.into_parts();
    let address = client_address(&parts);
    let body = axum::body::to_bytes(body, 16 * 1024).await.unwrap_or_default();
    let mut form = Form::parse(&body);
    let next = own_place(form.value("next")).to_owned();
    let login = form.line("login", 80).to_lowercase();
    let now = app.clock.now();

    let again = |form: Form, status: StatusCode| {
        (status, SignIn { style: asset("app.css"), form, next: next.clone() }).into_response()
    };
    let (by_name, by_address) =
        store::failures_since(&app.pool, &login, &address, now.plus_minutes(-WINDOW_MIN)).await?;
    if by_name >= MOST_BY_NAME || by_address >= MOST_BY_ADDRESS {
        form.wrong("", format!("Too many tries. Wait {WINDOW_MIN} minutes, then try again."));
        return Ok(again(form, StatusCode::TOO_MANY_REQUESTS));
    }
    let person = store::find_by_login(&app.pool, &login).await?;
    let hash = person.as_ref().map(|person| person.password_hash.clone());
    let right = password::is_right(form.value("password").to_owned(), hash).await;
    store::note_attempt(&app.pool, &login, &address, right, now).await?;
    let Some(person) = person.filter(|_| right) else {
        form.wrong("", "Name and password do not belong together. Check both.");
        return Ok(again(form, StatusCode::UNPROCESSABLE_ENTITY));
    };
    let agent = headers.get(USER_AGENT).and_then(|agent| agent.to_str().ok()).unwrap_or_default();
    let token = store::open_session(&app.pool, person.id, agent, now).await?;
    let mut response = see_other(&next);
    response.headers_mut().insert(SET_COOKIE, cookie(&token, 30 * 24 * 3600, app.secure_cookies));
    Ok(response)
}

pub(crate) async fn sign_out(State(app): State<App>, request: Request) -> Result<Response, Fault> {
    let (parts, _) = request.into_parts();
    if let Some(token) = token(&parts) {
        store::close_session(&app.pool, token).await?;
    }
    let mut response = see_other("/sign-in");
    response.headers_mut().insert(SET_COOKIE, cookie("", 0, app.secure_cookies));
    Ok(response)
}

pub(super) fn cookie(token: &str, seconds: i64, secure: bool) -> HeaderValue {
    let secure = if secure { "; Secure" } else { "" };
    HeaderValue::from_str(&format!(
        "{COOKIE_NAME}={token}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}"
    ))
    .unwrap_or(HeaderValue::from_static(""))
}
