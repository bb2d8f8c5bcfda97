//! Finishing: cut-off castings weighed, finished by hand, checked, handed over.
//!
//! The last stage. Weights go to the metal ledger as they are told: what is
//! filed off, what goes back to the returns, what leaves the house.

mod actions;
mod forms;
mod pages;
mod paths;
mod store;
mod view;

pub use actions::{deliver, scrap, take_back};
pub use paths::{Bench, BenchPiece};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/finishing", get(pages::bench::show))
        .route("/finishing/{label}", get(pages::piece::show))
        .route("/finishing/{label}/begin", post(pages::piece::begin))
        .route("/finishing/{label}/put-back", post(pages::piece::put_back))
        .route("/finishing/{label}/pass", post(pages::piece::pass))
        .route("/finishing/{label}/defect", post(pages::piece::defect))
        .route("/finishing/{label}/hand-over", post(pages::piece::hand_over))
}
