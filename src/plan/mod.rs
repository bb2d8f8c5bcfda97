//! The plan: waiting flasks into kiln loads, loads into pours, over the next days.
//!
//! What is planned is read from the studio as it stands (`instance.rs`), planned
//! by foundry, shown as a proposal, and becomes kiln loads when somebody
//! accepts it. Flasks that are pinned and kilns that are forbidden stay so.

mod actions;
mod forms;
mod grid;
mod instance;
mod lanes;
mod pages;
mod standing;
mod store;
mod view;
mod words;

pub use grid::Grid;
pub use standing::{Standing, standing};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/plan", get(pages::show::show))
        .route("/plan/propose", post(pages::change::propose))
        .route("/plan/accept", post(pages::change::accept))
        .route("/plan/discard", post(pages::change::discard))
        .route("/plan/pin", post(pages::change::pin))
        .route("/plan/unpin", post(pages::change::unpin))
        .route("/plan/forbid", post(pages::change::forbid))
        .route("/plan/allow", post(pages::change::allow))
        .route("/plan/{number}/instance.json", get(pages::change::instance))
}
