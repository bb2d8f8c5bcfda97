//! One field on every page that finds what is called or numbered so: pieces, orders, batches,
//! invoices, and clients, orders and designs by their names.

mod page;
mod view;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The page of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/find", get(page::show))
}
