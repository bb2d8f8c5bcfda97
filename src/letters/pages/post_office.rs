//! The server that sends the studio's letters.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::db::once::{self, Begun};
use crate::letters::forms::read_post_office;
use crate::letters::paths::PostOffice;
use crate::letters::{Letters, actions, store};
use crate::people::{Owner, Signed};
use crate::web::{App, Ended, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "letters/post_office.html")]
pub(crate) struct PostOfficePage {
    frame: Frame,
    version: i64,
    has_password: bool,
    form: Form,
}

async fn page(app: &App, signed: &Signed, form: Option<Form>) -> Result<PostOfficePage, Fault> {
    let row = store::post_office(&app.pool).await?;
    let (version, has_password) = (row.version, !row.password.is_empty());
    let form = form.unwrap_or_else(|| {
        Form::filled([
            ("transport", row.transport),
            ("folder", row.folder),
            ("host", row.host),
            ("port", row.port.to_string()),
            ("security", row.security),
            ("login", row.login),
            ("from_email", row.from_email),
            ("reply_to", row.reply_to),
        ])
    });
    Ok(PostOfficePage { frame: signed.frame.clone(), version, has_password, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<PostOfficePage, Fault> {
    page(&app, &signed, None).await
}

pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(row) = read_post_office(&mut form) else {
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = actions::change_post_office(&mut work.tx, &signed, &row)
        .await
        .map(|()| PostOffice.to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            Ok((status, page(&app, &signed, Some(form)).await?).into_response())
        }
    }
}
