//! The plan: waiting flasks into kiln loads, loads into pours, over the next days.
//!
//! What is planned is read from the studio as it stands (`instance.rs`), planned
//! by foundry, shown as a proposal, and becomes kiln loads when somebody
//! accepts it. Flasks that are pinned and kilns that are forbidden stay so. A flask can be put
//! elsewhere by hand (`by_hand.rs`), and when the studio changes a new plan is made in the
//! background and waits for a yes (`reality.rs`). Calendars read it from a private address
//! (`feed/`).

mod actions;
mod again;
mod begun;
mod by_hand;
mod current;
mod difference;
mod feed;
mod forms;
mod grid;
mod instance;
mod known;
mod lanes;
mod listed;
mod pages;
mod power;
mod prices;
mod reality;
mod standing;
mod store;
mod think;
mod view;
mod words;
mod year;

pub use grid::Grid;
pub use reality::{replan, watch};
pub use standing::{Standing, standing};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/plan", get(pages::show::show))
        .route("/plan/propose", post(pages::change::propose))
        .route("/plan/stop", post(pages::change::stop))
        .route("/plan/move", post(pages::change::move_flask))
        .route("/plan/undo", post(pages::change::undo))
        .route("/plan/redo", post(pages::change::redo))
        .route("/plan/compare", get(pages::compare::show))
        .route("/plan/year", get(pages::year::show))
        .route("/plan/flasks/{number}", get(pages::flask::show))
        .route("/plan/calendar", post(feed::make))
        .route("/plan/calendar/revoke", post(feed::revoke))
        .route("/calendar/{name}", get(feed::read))
        .route("/plan/accept", post(pages::change::accept))
        .route("/plan/discard", post(pages::change::discard))
        .route("/plan/pin", post(pages::change::pin))
        .route("/plan/unpin", post(pages::change::unpin))
        .route("/plan/forbid", post(pages::change::forbid))
        .route("/plan/allow", post(pages::change::allow))
        .route("/plan/{number}/instance.json", get(pages::change::instance))
}
