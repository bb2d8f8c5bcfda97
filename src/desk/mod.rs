//! The owner's overviews, composed from all capabilities; writes nothing.

mod today;
mod view;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this room.
pub fn router() -> Router<App> {
    Router::new().route("/", get(today::show))
}
