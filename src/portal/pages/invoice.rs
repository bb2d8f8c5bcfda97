//! An invoice or credit note of this order, as PDF.

use axum::extract::{Path, State};
use axum::response::Response;

use crate::id::InvoiceId;
use crate::invoices;
use crate::paper;
use crate::portal::guest::{Guest, Turned};
use crate::portal::view;
use crate::studio::Settings;
use crate::web::App;

pub(crate) async fn show(
    State(app): State<App>,
    guest: Guest,
    Path((_, id)): Path<(String, String)>,
) -> Result<Response, Turned> {
    let id: InvoiceId = id.parse().map_err(|_| Turned::Away)?;
    if !view::invoices(&app.pool, guest.order.id).await?.iter().any(|invoice| invoice.id == id) {
        return Err(Turned::Away);
    }
    let settings = Settings::load(&app.pool).await?;
    let (name, bytes) = invoices::attachment(&app.pool, id, &settings, guest.now).await?;
    Ok(paper::answer(&name, bytes))
}
