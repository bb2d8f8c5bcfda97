//! What is done to drafts.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use foundry::quantity::Currency;

use super::show::page;
use crate::db::once::{self, Begun};
use crate::id::{ClientId, InvoiceId};
use crate::invoices::forms::DraftForm;
use crate::invoices::{Account, Invoice, InvoicesOfOrder, actions, store, view};
use crate::people::Owner;
use crate::web::{App, Ended, Fault, Form, Refused, see_other};

pub(crate) async fn blank(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(client) = form.choice::<ClientId>("client") else {
        return Err(Refused::input("client", "Choose for whom the invoice is.").into());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let id = actions::blank(&mut work.tx, &signed, client).await?;
    let place = Invoice(id).to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
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
    let Some(typed) = DraftForm::read(&mut form, &kept, currency) else {
        let page = page(&app, &signed, id, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done =
        actions::save(&mut work.tx, id, &typed, seen).await.map(|()| Invoice(id).to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            let page = page(&app, &signed, id, Some(form)).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(crate) async fn issue(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    match actions::issue(&mut work.tx, &signed, id, seen).await {
        Ok(()) => {
            let place = Invoice(id).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            let mut page = page(&app, &signed, id, None).await?;
            page.refuse(&refused);
            Ok((refused.status, page).into_response())
        }
        Err(fault) => Err(fault),
    }
}

pub(crate) async fn discard(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let invoice = view::load(&app.pool, id).await;
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let order = invoice?.order_number;
    let held = actions::discard(&mut work.tx, id, seen).await?;
    let place = match (held.corrects, order) {
        (Some(corrected), _) => Invoice(corrected).to_string(),
        (None, Some(number)) => InvoicesOfOrder(number).to_string(),
        (None, None) => Account(held.client_id).to_string(),
    };
    work.commit(&place).await?;
    Ok(see_other(&place))
}
