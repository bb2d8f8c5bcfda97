//! What is done to drafts.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::quantity::Currency;

use super::show::{page, refusing};
use crate::id::{ClientId, InvoiceId};
use crate::invoices::forms::DraftForm;
use crate::invoices::{Account, Invoice, InvoicesOfOrder, actions, store, view};
use crate::people::Owner;
use crate::web::{App, Fault, Form, Refused};

pub(crate) async fn blank(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(client) = form.choice::<ClientId>("client") else {
        return Err(Refused::input("client", "Choose for whom the invoice is.").into());
    };
    form.act_once(&app.pool, signed.now, async |conn| {
        let id = actions::blank(conn, &signed, client).await?;
        Ok(Invoice(id))
    })
    .await?
    .led()
}

pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let invoice = view::load(&app.pool, id).await?;
    let kept = store::lines(&app.pool, id).await?;
    let currency = Currency::by_code(&invoice.currency)
        .map_err(|refusal| Refused::conflict(refusal.to_string()))?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let Some(typed) = DraftForm::read(&mut form, &kept, currency, today) else {
        let page = page(&app, &signed, id, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::save(conn, &signed, id, &typed, seen).await?;
            Ok(Invoice(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Some(form))).await
}

pub(crate) async fn issue(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::issue(conn, &signed, id, seen).await?;
            Ok(Invoice(id))
        })
        .await?;
    ended.or_tell(|refused| refusing(&app, &signed, id, refused)).await
}

pub(crate) async fn discard(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let invoice = view::load(&app.pool, id).await;
    form.act_once(&app.pool, signed.now, async |conn| {
        let order = invoice?.order_number;
        let held = actions::discard(conn, id, seen).await?;
        Ok(match (held.corrects, order) {
            (Some(corrected), _) => Invoice(corrected).to_string(),
            (None, Some(number)) => InvoicesOfOrder(number).to_string(),
            (None, None) => Account(held.client_id).to_string(),
        })
    })
    .await?
    .led()
}
