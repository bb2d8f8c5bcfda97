//! Counting clocks that belong to things: a wash, a cure, a print, a mix, a soak.
//!
//! A clock is two moments in the database, so it goes on through a reload of
//! the page and a restart of the program. Its subject is the batch it belongs
//! to, written as everywhere: `cure:31`, `plate:41`, `flask:201`, `load:81`. The page that shows
//! all of them is put together in `now`, beside the steps somebody works on.

mod pages;
mod store;

pub use store::{
    Lateness, Timer, as_timed, by_urgency, clock, end, find, hindrance, of, running, start,
    subject_path, take_back,
};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// What is done to clocks, and what the pages' script asks.
pub fn router() -> Router<App> {
    Router::new()
        .route("/timers/running", get(pages::running))
        .route("/timers/{id}/stop", post(pages::stop))
        .route("/timers/{id}/run-on", post(pages::run_on))
        .route("/timers/{id}/more", post(pages::more))
}
