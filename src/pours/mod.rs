//! Pours: what was melted, poured into which flask, how hot, and how it went.

mod actions;
mod forms;
mod pages;
mod store;
mod view;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/pours", get(pages::sheet::show))
        .route("/pours/sheet.pdf", get(pages::pdf::show))
        .route("/pours/done", get(pages::done::show))
        .route("/pours/{flask}", post(pages::sheet::pour))
        .route("/pours/{flask}/take-back", post(pages::back::take_back))
        .route("/pours/{flask}/weights", post(pages::back::correct))
}
