//! Now: the one next thing to do at the bench, with the figures it needs, large.
//!
//! Composed from all capabilities like Today; it writes nothing but a clock that is started by
//! hand. Its buttons post to the capabilities' own addresses and are led back here, where the
//! step just recorded can be taken back. The page of all clocks stands beside it, because steps
//! somebody works on belong there with clocks that count down.

mod asks;
mod back;
mod clock_form;
mod clocks;
mod model;
mod page;
mod view;

pub use back::lead_back;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// Now, and the page of all clocks.
pub fn router() -> Router<App> {
    Router::new()
        .route("/now", get(page::show))
        .route("/timers", get(clocks::show).post(clocks::start))
}
