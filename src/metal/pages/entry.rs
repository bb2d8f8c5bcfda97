//! One entry, and taking it back.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::id::MetalBatchId;
use crate::metal::entries::{self, EntryRow};
use crate::metal::{EntriesPage, EntryPage, MetalPage, OfAlloy, ledger};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

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
    let entry = entries::entry(&app.pool, id).await?;
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
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let reversal =
                ledger::reverse(conn, id, signed.now, Some(signed.person), &reason).await?;
            Ok(EntryPage(reversal))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, form)).await
}
