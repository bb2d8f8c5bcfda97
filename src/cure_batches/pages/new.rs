//! A new cure batch: the printed patterns that wait, and how they are washed and cured.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::cure_batches::forms::BatchForm;
use crate::cure_batches::model::MEDIA;
use crate::cure_batches::view::{self, Waiting};
use crate::cure_batches::{CureBatch, CureBatches, actions};
use crate::id::AttemptId;
use crate::people::Signed;
use crate::pieces;
use crate::trials::{self, DrawnPiece, Usual};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "cure_batches/new.html")]
pub(crate) struct NewCureBatchPage {
    frame: Frame,
    form: Form,
    waiting: Vec<Waiting>,
    /// What a trial has shown about what patterns cure in.
    usual: Option<Usual>,
    drawn: Vec<DrawnPiece>,
}

impl NewCureBatchPage {
    /// How a pattern was drawn for a trial that is under way.
    fn drawn_for(&self, attempt: &AttemptId) -> Option<&DrawnPiece> {
        self.drawn.iter().find(|drawn| drawn.attempt == *attempt)
    }

    fn picked(&self, attempt: &AttemptId) -> bool {
        let attempt = attempt.to_string();
        self.form.all("pieces").any(|ticked| ticked == attempt)
    }
}

async fn page(app: &App, signed: &Signed, mut form: Form) -> Result<NewCureBatchPage, Fault> {
    let waiting = view::waiting(&app.pool).await?;
    let usual = trials::usual(&app.pool, trials::Setting::Medium).await?;
    let drawn = trials::drawn(&app.pool, trials::Setting::Medium).await?;
    // Nothing chosen yet: what a trial has shown, else air.
    if form.value("medium").is_empty() {
        form.set("medium", usual.as_ref().map_or("air", |usual| &usual.value));
    }
    Ok(NewCureBatchPage { frame: signed.frame.clone(), form, waiting, usual, drawn })
}

/// The address may name patterns that are ticked already, as a scanned ticket does.
pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<NewCureBatchPage, Fault> {
    let mut form = Form::parse(query.unwrap_or_default().as_bytes());
    form.set("wash", "isopropyl alcohol");
    page(&app, &signed, form).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let attempts = pieces::ticked(&mut form);
    let Some(batch) = BatchForm::read(&mut form) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let number = actions::create(conn, &signed, &batch, &attempts).await?;
            Ok(CureBatch(number))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
