//! Counting clocks that belong to things: a wash, a cure, a print, a mix, a soak.
//!
//! A clock is two moments in the database, so it goes on through a reload of
//! the page and a restart of the program. Its subject is the batch it belongs
//! to, written as everywhere: `cure:31`, `plate:41`, `flask:201`, `load:81`.

mod forms;
mod pages;
mod store;

pub use store::{
    Lateness, Timer, as_timed, clock, end, of, running, start, subject_path, take_back,
};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/timers", get(pages::show).post(pages::start))
        .route("/timers/running", get(pages::running))
        .route("/timers/{id}/stop", post(pages::stop))
        .route("/timers/{id}/more", post(pages::more))
}
