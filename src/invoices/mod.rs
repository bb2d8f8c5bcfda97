//! Invoices, credit notes and what clients paid.
//!
//! A draft can be changed as often as one likes; issuing gives it the next number of its
//! kind, without gaps, and from then on the database refuses every change. Payments, refunds
//! and credit notes are entries of the client's account; which of them pays for what is told
//! by settlements, which the database keeps within what was owed and what was paid.

mod account;
mod actions;
mod exchange;
mod forms;
mod from_quote;
mod model;
mod opened;
mod pages;
mod paper;
mod paths;
mod payments;
mod rates;
mod statement;
mod store;
mod view;

pub use paths::{Account, Invoice, Invoices, InvoicesOfOrder};
pub use payments::note_payment;

use axum::Router;
use axum::routing::{get, post};
use sqlx::PgPool;

use crate::clock::Moment;
use crate::id::InvoiceId;
use crate::paper::Size;
use crate::studio::Settings;
use crate::web::{App, Fault, Show};

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/invoices", get(pages::list::show).post(pages::draft::blank))
        .route("/invoices/{id}", get(pages::show::show).post(pages::draft::save))
        .route("/invoices/{id}/pdf", get(pages::pdf::invoice))
        .route("/invoices/{id}/issue", post(pages::draft::issue))
        .route("/invoices/{id}/discard", post(pages::draft::discard))
        .route("/invoices/{id}/credit", post(pages::show::credit))
        .route("/invoices/{id}/use-credit", post(pages::show::use_credit))
        .route("/orders/{number}/invoices", get(pages::order::show).post(pages::order::draft))
        .route("/clients/{id}/account", get(pages::account::show))
        .route("/clients/{id}/account/pdf", get(pages::pdf::statement))
        .route("/clients/{id}/payments", post(pages::account::pay))
        .route("/clients/{id}/refunds", post(pages::account::refund))
        .route("/clients/{id}/entries/{entry}/reverse", post(pages::account::reverse))
        .route("/studio/invoicing", get(pages::invoicing::show).post(pages::invoicing::submit))
}

/// The studio's address as it stands on papers, and the sheet it prints on.
pub async fn letterhead(pool: &PgPool) -> Result<(String, Size), sqlx::Error> {
    let row = store::invoicing(pool).await?;
    Ok((row.address, Size::named(&row.paper)))
}

/// An invoice or a credit note as PDF, with the name of its file.
pub async fn attachment(
    pool: &PgPool,
    id: InvoiceId,
    settings: &Settings,
    now: Moment,
) -> Result<(String, Vec<u8>), Fault> {
    let invoice = view::load(pool, id).await?;
    let lines = store::lines(pool, id).await?;
    let taxes = view::taxes(pool, id).await?;
    let invoicing = store::invoicing(pool).await?;
    let show = Show::of(settings, now);
    let size = Size::named(&invoicing.paper);
    let paper = paper::invoice(&invoice, &lines, &taxes, &show, size, &settings.name);
    let bytes = crate::paper::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    // A label may hold anything; a file's name may not.
    let plain: String = paper
        .title
        .to_lowercase()
        .chars()
        .map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '-' })
        .collect();
    Ok((format!("{plain}.pdf"), bytes))
}
