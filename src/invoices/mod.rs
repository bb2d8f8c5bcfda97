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

use opened::Opened;

use axum::Router;
use axum::routing::{get, post};
use sqlx::PgPool;

use crate::clock::Moment;
use crate::id::InvoiceId;
use crate::paper::Size;
use crate::studio::Settings;
use crate::web::{App, Fault, Html, Show, working_of};

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

/// Amounts of an issued document that open into what stands on it and what was paid for it.
#[derive(Clone, Debug)]
pub struct Told {
    /// What it comes to.
    pub total: Html,
    /// What is still to be paid, or to be used.
    pub open: Html,
    /// That nothing is open any more, in words.
    pub paid: Html,
}

/// Amounts of an issued document as its client may look into them.
pub async fn told(pool: &PgPool, id: InvoiceId, show: &Show) -> Result<Told, sqlx::Error> {
    let (invoice, lines) = (view::load(pool, id).await?, store::lines(pool, id).await?);
    let (taxes, settled) = (view::taxes(pool, id).await?, view::settled(pool, id).await?);
    let opened = Opened { invoice: &invoice, lines: &lines };
    let open = opened.open(&settled, show);
    Ok(Told {
        total: working_of(
            &show.money_in(invoice.total, &invoice.currency),
            &opened.total_of_lines(&taxes),
        ),
        open: working_of(&show.money_in(invoice.open(), &invoice.currency), &open),
        paid: working_of(&Html::escaped("paid, thank you"), &open),
    })
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
