//! Kiln loads: flasks in a kiln, and the burnout as it was run.
//!
//! The program never starts a kiln: these are records of what people did.

mod actions;
mod controller;
mod ends;
mod known_logs;
mod pages;
mod sight;
mod store;
mod view;

pub use actions::{PlannedLoad, cancel_planned, end_when_empty, hold_again, move_pour, plan_load};
pub use controller::{Setting, settings};
pub use ends::{Ends, ends_of};
pub use view::{LoadRow, LoadState, Standing, list_between, load, standing_in, standing_in_each};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/loads", get(pages::list::show))
        .route("/loads/{number}", get(pages::show::show))
        .route("/loads/{number}/start", post(pages::show::start))
        .route("/loads/{number}/hold", post(pages::show::hold))
        .route("/loads/{number}/end", post(pages::show::end))
        .route("/loads/{number}/take-back", post(pages::show::take_back))
        .route("/loads/{number}/cancel", post(pages::show::cancel))
        .route("/loads/{number}/log/columns", post(pages::log::columns))
        .route("/loads/{number}/log/use", post(pages::log::put_back))
        .route("/loads/{number}/log/take-over", post(pages::log::take_over))
        .route("/loads/{number}/log/drop", post(pages::log::drop_fit))
        .route("/loads/{number}/log/files/{file}", get(pages::log::file))
        .merge(
            Router::new()
                .route("/loads/{number}/log", get(pages::log::show).post(pages::log::add))
                .layer(DefaultBodyLimit::max(crate::kiln_logs::MOST_BYTES + (64 << 10))),
        )
}
