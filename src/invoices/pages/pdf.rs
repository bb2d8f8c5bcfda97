//! Invoices and statements as PDF.

use axum::extract::{Path, Query, State};
use axum::response::Response;

use super::account::Wanted;
use crate::clock::Day;
use crate::id::{ClientId, InvoiceId};
use crate::invoices::{paper, statement, store, view};
use crate::paper::{self as sheets, Size};
use crate::people::Owner;
use crate::studio::Settings;
use crate::web::{App, Fault};

pub(crate) async fn invoice(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<InvoiceId>,
) -> Result<Response, Fault> {
    let settings = Settings::load(&app.pool).await?;
    let (name, bytes) = crate::invoices::attachment(&app.pool, id, &settings, signed.now).await?;
    Ok(sheets::answer(&name, bytes))
}

pub(crate) async fn statement(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ClientId>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Fault> {
    let show = &signed.frame.show;
    let day = |text: &str| text.trim().parse().ok().map(Day);
    let to = day(&wanted.to).unwrap_or_else(|| signed.now.day_in(&show.zone));
    let from = day(&wanted.from);
    let client = view::client(&app.pool, id).await?;
    let entries = view::entries(&app.pool, id, to).await?;
    let statements = statement::of(entries, from, &show.units.currency);
    let invoicing = store::invoicing(&app.pool).await?;
    let paper = paper::statement(
        &client,
        &statements,
        (from, to),
        show,
        Size::named(&invoicing.paper),
        (&signed.frame.studio, &invoicing.address),
    );
    let bytes = sheets::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    Ok(sheets::answer("statement.pdf", bytes))
}
