//! Rework: back to an earlier stage, a spare piece in another's place, pieces to another order.
//!
//! Each way is shown with what it costs and how long it takes, as far as the studio's own
//! records tell, before it is taken; what was said then is kept with the piece.

mod actions;
mod model;
mod pages;
mod store;
mod view;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/pieces/{label}/rework", get(pages::piece::show))
        .route("/pieces/{label}/rework/back", post(pages::piece::back))
        .route("/pieces/{label}/rework/swap", post(pages::piece::swap))
        .route("/orders/{number}/split", get(pages::order::show).post(pages::order::submit))
}
