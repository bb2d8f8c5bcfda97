//! Steps of the bench: what is done within a stage, and what was measured at it.
//!
//! A stage's sheet is fixed by the trade (`sheets.rs`). Each step is recorded by one tap,
//! with its figures where somebody has them, for a batch or for one piece, at finish also for many. Whatever is
//! recorded here can be looked at among the yields.

mod actions;
mod clocks;
mod forms;
mod many;
mod pages;
mod sheets;
mod store;
mod view;

pub use clocks::{AtWork, Tapped, at_work, tapped};
pub use sheets::{Choice, choices};
pub use view::{minutes_of, panel};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/steps/finish", get(many::show).post(many::record))
        .route("/steps/finish/take-back", post(many::take_back))
        .route("/steps/{stage}/{which}", get(pages::show))
        .route("/steps/{stage}/{which}/{step}", post(pages::record))
        .route("/steps/{stage}/{which}/{step}/start-clock", post(pages::start_clock))
        .route("/steps/{stage}/{which}/{step}/stop-clock", post(pages::stop_clock))
        .route("/steps/{stage}/{which}/{step}/forget-clock", post(pages::forget_clock))
        .route("/steps/{stage}/{which}/{step}/take-back", post(pages::take_back))
}
