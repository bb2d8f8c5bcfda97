//! Plates: what is printed together, in one run of a printer.
//!
//! A plate is laid out while it is open, runs while it is printing, and is
//! done or cancelled for good. Its pieces belong to several orders; what
//! happens to it happens to all of them.

mod actions;
mod forms;
mod model;
mod pages;
mod paths;
mod store;
mod view;

pub use paths::{NewPlate, Plate, Plates, ProposePlates};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/plates", get(pages::list::show).post(pages::new::submit))
        .route("/plates/new", get(pages::new::show))
        .route("/plates/propose", get(pages::propose::show).post(pages::propose::submit))
        .route("/plates/{number}", get(pages::show::show))
        .route("/plates/{number}/settings", post(pages::layout::settings))
        .route("/plates/{number}/pieces", post(pages::layout::add))
        .route("/plates/{number}/take-off", post(pages::layout::take_off))
        .route("/plates/{number}/start", post(pages::run::start))
        .route("/plates/{number}/finish", post(pages::run::finish))
        .route("/plates/{number}/take-back", post(pages::run::take_back))
        .route("/plates/{number}/cancel", post(pages::run::cancel))
}
