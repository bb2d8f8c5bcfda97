//! Kiln loads: flasks in a kiln, and the burnout as it was run.
//!
//! The program never starts a kiln: these are records of what people did.

mod actions;
mod pages;
mod store;
mod view;

pub use actions::{PlannedLoad, cancel_planned, end_when_empty, plan_load};
pub use view::{LoadRow, LoadState, Standing, list_between, load, standing_in};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/loads/{number}", get(pages::show::show))
        .route("/loads/{number}/start", post(pages::show::start))
        .route("/loads/{number}/hold", post(pages::show::hold))
        .route("/loads/{number}/end", post(pages::show::end))
        .route("/loads/{number}/take-back", post(pages::show::take_back))
        .route("/loads/{number}/cancel", post(pages::show::cancel))
}
