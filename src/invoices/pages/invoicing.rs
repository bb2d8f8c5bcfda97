//! What stands on every invoice from now on.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::invoices::forms::read_invoicing;
use crate::invoices::paths::Invoicing;
use crate::invoices::{Invoices, actions, store};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "invoices/invoicing.html")]
pub(crate) struct InvoicingPage {
    frame: Frame,
    version: i64,
    form: Form,
}

async fn page(app: &App, signed: &Signed, form: Option<Form>) -> Result<InvoicingPage, Fault> {
    let row = store::invoicing(&app.pool).await?;
    let version = row.version;
    let form = form.unwrap_or_else(|| {
        Form::filled([
            ("address", row.address),
            ("tax_number", row.tax_number),
            ("pay_to", row.pay_to),
            ("footer", row.footer),
            ("due_days", row.due_days.to_string()),
            ("invoice_prefix", row.invoice_prefix),
            ("credit_prefix", row.credit_prefix),
            ("tax_rounding", row.tax_rounding),
            ("paper", row.paper),
        ])
    });
    Ok(InvoicingPage { frame: signed.frame.clone(), version, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<InvoicingPage, Fault> {
    page(&app, &signed, None).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(row) = read_invoicing(&mut form) else {
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change_invoicing(conn, &signed, &row).await?;
            Ok(Invoicing)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some(form))).await
}
