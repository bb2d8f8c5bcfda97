//! Electricity by the hour of the week, and what a firing costs by it.

mod forms;
mod model;
mod pages;
mod store;

pub use model::{Costed, cost_of, week_minute};
pub use store::{InForce, in_force, noted};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/studio/tariffs", get(pages::tariffs::show).post(pages::tariffs::add))
        .route("/studio/tariffs/{id}/remove", post(pages::tariffs::remove))
}
