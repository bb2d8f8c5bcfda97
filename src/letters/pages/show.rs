//! One letter: to be looked through, or what became of it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::id::MessageId;
use crate::invoices::Invoice;
use crate::letters::deliver;
use crate::letters::forms::LetterForm;
use crate::letters::paths::{Letter, PostOffice};
use crate::letters::post::Stuck;
use crate::letters::store::{self, LetterRow, PostOfficeRow};
use crate::letters::{Letters, actions};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame, Refused};

#[derive(Template, WebTemplate)]
#[template(path = "letters/show.html")]
pub(crate) struct ShowLetter {
    frame: Frame,
    letter: LetterRow,
    office: PostOfficeRow,
    form: Form,
}

impl ShowLetter {
    /// Whether it can still be changed.
    fn open(&self) -> bool {
        self.letter.state == "draft" || self.letter.state == "given_up"
    }
}

async fn page(
    app: &App,
    signed: &Signed,
    id: MessageId,
    form: Option<Form>,
) -> Result<ShowLetter, Fault> {
    let letter = store::letter(&app.pool, id).await?;
    let form = form.unwrap_or_else(|| {
        Form::filled([
            ("recipient", letter.recipient.clone()),
            ("recipient_name", letter.recipient_name.clone()),
            ("subject", letter.subject.clone()),
            ("body", letter.body.clone()),
        ])
    });
    let office = store::post_office(&app.pool).await?;
    Ok(ShowLetter { frame: signed.frame.clone(), letter, office, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<MessageId>,
) -> Result<ShowLetter, Fault> {
    page(&app, &signed, id, None).await
}

/// The message as it went out, or as it would go out now.
pub(crate) async fn message(
    State(app): State<App>,
    Owner(_signed): Owner,
    Path(id): Path<MessageId>,
) -> Result<Response, Fault> {
    let bytes = match store::sent_message(&app.pool, id).await? {
        Some(bytes) => bytes,
        None => {
            let letter = store::letter(&app.pool, id).await?;
            let office = store::post_office(&app.pool).await?;
            let built = deliver::build(&app, &office, &letter).await;
            built
                .map_err(|stuck| {
                    let (Stuck::Later(why) | Stuck::Never(why)) = stuck;
                    Refused::conflict(format!("No message can be made of it yet: {why}"))
                })?
                .formatted()
        }
    };
    let headers = [
        (header::CONTENT_TYPE, "message/rfc822"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"letter.eml\""),
    ];
    Ok((headers, bytes).into_response())
}

/// Saves what was typed.
pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<MessageId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(typed) = LetterForm::read(&mut form) else {
        let page = page(&app, &signed, id, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::save(conn, id, &typed, seen).await?;
            Ok(Letter(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Some(form))).await
}

/// Sends what was typed; where it is refused, that stays in the form.
pub(crate) async fn send(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<MessageId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(typed) = LetterForm::read(&mut form) else {
        let page = page(&app, &signed, id, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::send(conn, &signed, id, &typed, seen).await?;
            Ok(Letter(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Some(form))).await
}

pub(crate) async fn throw_away(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<MessageId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::throw_away(conn, &signed, id, seen).await?;
            Ok(Letter(id))
        })
        .await?;
    ended.or_tell(|refused| refusing(&app, &signed, id, refused)).await
}

/// The letter as it is, with the reason why nothing was done with it.
async fn refusing(
    app: &App,
    signed: &Signed,
    id: MessageId,
    refused: Refused,
) -> Result<ShowLetter, Fault> {
    let mut page = page(app, signed, id, None).await?;
    page.form.refuse(&refused);
    Ok(page)
}
