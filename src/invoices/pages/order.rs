//! The invoices of an order: its deposit, the rest, and what was put right.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;

use crate::invoices::actions::{self, Part};
use crate::invoices::view::{self, InvoiceRow};
use crate::invoices::{Account, Invoice, InvoicesOfOrder};
use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::{Owner, Signed};
use crate::quotes::{self, QuoteRow};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "invoices/order.html")]
pub(crate) struct OrderInvoices {
    frame: Frame,
    order: OrderRow,
    quote: Option<QuoteRow>,
    invoices: Vec<InvoiceRow>,
    form: Form,
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<OrderInvoices, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let quote = quotes::standing(&app.pool, order.id).await?;
    Ok(OrderInvoices {
        frame: signed.frame.clone(),
        quote: quote.filter(|quote| quote.state == "accepted"),
        invoices: view::of_order(&app.pool, order.id).await?,
        order,
        form,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<OrderInvoices, Fault> {
    page(&app, &signed, number, Form::default()).await
}

pub(crate) async fn draft(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let part = if form.value("part") == "deposit" { Part::Deposit } else { Part::Rest };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let id = actions::draft_for_order(conn, &signed, number, part).await?;
            Ok(Invoice(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, number, form)).await
}
