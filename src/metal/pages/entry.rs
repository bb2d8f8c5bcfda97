//! One entry, and taking it back.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::db::once::{self, Begun};
use crate::id::MetalBatchId;
use crate::metal::view::{self, EntryRow};
use crate::metal::{EntriesPage, EntryPage, MetalPage, OfAlloy, ledger};
use crate::people::Signed;
use crate::web::{App, Ended, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "metal/entry.html")]
pub(crate) struct ShowEntry {
    frame: Frame,
    entry: EntryRow,
    form: Form,
}

async fn page(
    app: &App,
    signed: &Signed,
    id: MetalBatchId,
    form: Form,
) -> Result<ShowEntry, Fault> {
    let entry = view::entry(&app.pool, id).await?;
    Ok(ShowEntry { frame: signed.frame.clone(), entry, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<MetalBatchId>,
) -> Result<ShowEntry, Fault> {
    page(&app, &signed, id, Form::default()).await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<MetalBatchId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let reason = form.needed("reason", 1000);
    if !form.good() {
        let page = page(&app, &signed, id, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = ledger::reverse(&mut work.tx, id, signed.now, Some(signed.person), &reason)
        .await
        .map(|reversal| EntryPage(reversal).to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            Ok((status, page(&app, &signed, id, form).await?).into_response())
        }
    }
}
