//! The server that sends the studio's letters.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::letters::forms::read_post_office;
use crate::letters::paths::PostOffice;
use crate::letters::store::Kept;
use crate::letters::{Letters, actions, store};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "letters/post_office.html")]
pub(crate) struct PostOfficePage {
    frame: Frame,
    version: i64,
    kept: Kept,
    /// Where the key lies.
    key_file: Option<String>,
    has_key: bool,
    form: Form,
}

impl PostOfficePage {
    fn shut(&self) -> Option<String> {
        match &self.kept {
            Kept::Shut(fault) => Some(fault.to_string()),
            _ => None,
        }
    }

    fn sealed(&self) -> bool {
        self.kept == Kept::Sealed
    }

    fn in_clear(&self) -> bool {
        self.kept == Kept::Open
    }
}

async fn page(app: &App, signed: &Signed, form: Option<Form>) -> Result<PostOfficePage, Fault> {
    let row = store::post_office(&app.pool).await?;
    let (version, kept) = (row.version, row.kept(&app.vault));
    let key_file = app.vault.place().map(|place| place.display().to_string());
    let has_key = app.vault.has_key();
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
            ("authority", row.authority),
        ])
    });
    Ok(PostOfficePage { frame: signed.frame.clone(), version, kept, key_file, has_key, form })
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
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change_post_office(conn, &signed, &row, &app.vault).await?;
            Ok(PostOffice)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some(form))).await
}
