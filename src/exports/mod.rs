//! Exports: everything the studio keeps, as CSV and JSON with columns that stay, and a
//! bookkeeping journal that balances day by day. Rows go out as they come from the database,
//! so a year of a hundred thousand pieces needs no more memory than a page.

mod datasets;
mod encode;
mod pages;
mod stream;

pub use datasets::{Column, Dataset, Kind, datasets};
pub use encode::{csv_cell, json_row};

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/exports", get(pages::index))
        .route("/exports/everything.json", get(pages::everything))
        .route("/exports/{file}", get(pages::dataset))
}
