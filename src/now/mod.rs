//! Now: the one next thing to do at the bench, with the figures it needs, large.
//!
//! Composed from all capabilities like Today; it writes nothing. Its buttons post to the
//! capabilities' own addresses and are led back here, where the step just recorded can be
//! taken back.

mod asks;
mod back;
mod model;
mod page;
mod view;

pub use back::lead_back;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The page of this room.
pub fn router() -> Router<App> {
    Router::new().route("/now", get(page::show))
}
