//! The owner's page of the studio: the way to everything that is set once, the
//! settings themselves, the working hours and the days on which nobody is there.

mod actions;
mod forms;
mod pages;
mod paths;
mod store;
mod view;

pub use forms::{WeekHours, hours_fields, hours_filled, read_hours, shown_time};
pub use paths::{ClosedDays, Hours, StudioIndex, StudioSettings};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/studio", get(pages::index::show))
        .route("/studio/settings", get(pages::settings::show).post(pages::settings::submit))
        .route("/studio/hours", get(pages::hours::show).post(pages::hours::submit))
        .route("/studio/closed-days", post(pages::hours::close))
        .route("/studio/closed-days/{day}/open", post(pages::hours::reopen))
}
