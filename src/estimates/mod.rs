//! Estimates that learn: what a setting says beside what was measured, taken over with one tap
//! and given back with another.
//!
//! A proposal is the median of the latest measurements; of fewer than eight nothing is
//! proposed. The setting itself is changed, so it holds wherever it is used.

mod actions;
mod model;
mod page;
mod store;
mod view;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The page of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/estimates", get(page::show))
        .route("/estimates/take", post(page::take))
        .route("/estimates/{id}/reverse", post(page::reverse))
}
