//! Printers, resins and the opened bottles of resin: what prints are made on and from.

mod actions;
mod forms;
mod pages;
mod paths;
mod store;
mod view;

pub use paths::{Printer, Printers, Resin, Resins};
pub use view::{LotChoice, PrinterRow, ProfileRow, lots_in_use, printers_in_use, profiles_in_use};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/studio/printers", get(pages::printers::show).post(pages::printers::add))
        .route("/studio/printers/{id}", get(pages::printer::show).post(pages::printer::change))
        .route("/studio/printers/{id}/retire", post(pages::printer::retire))
        .route("/studio/printers/{id}/profiles", post(pages::profiles::add))
        .route("/studio/printers/{id}/profiles/{profile}/retire", post(pages::profiles::retire))
        .route("/studio/resins", get(pages::resins::show).post(pages::resins::add))
        .route("/studio/resins/{id}", get(pages::resin::show).post(pages::resin::change))
        .route("/studio/resins/{id}/retire", post(pages::resin::retire))
        .route("/studio/resins/{id}/lots", post(pages::resin::add_lot))
        .route("/studio/resins/{id}/lots/{lot}/used-up", post(pages::resin::used_up))
}
