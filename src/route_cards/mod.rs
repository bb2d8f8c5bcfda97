//! The pages of pieces: every route card, one piece with all that happened to it,
//! its ticket and its photos, and what is recorded for a single piece.

mod pages;
mod paths;
mod photos;
mod view;

pub use paths::{Piece, Pieces, Ticket};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/pieces", get(pages::list::show))
        .route("/pieces/{label}", get(pages::show::show))
        .route("/pieces/{label}/ticket", get(pages::ticket::show))
        .route("/pieces/{label}/ticket.pdf", get(pages::ticket::pdf))
        .route("/pieces/{label}/note", post(pages::acts::note))
        .route("/pieces/{label}/failed", post(pages::acts::failed))
        .route("/pieces/{label}/undo", post(pages::acts::take_back))
        .route("/pieces/{label}/cancel", post(pages::acts::cancel))
        .route("/pieces/{label}/photos/{photo}/share", post(pages::photos::share))
        .route("/pieces/{label}/photos/{photo}/remove", post(pages::photos::remove))
        .route("/pieces/{label}/photos/{photo}/put-back", post(pages::photos::put_back))
        .merge(
            Router::new()
                .route("/pieces/{label}/photos", post(pages::photos::add))
                .layer(DefaultBodyLimit::max(photos::MOST_BYTES + (64 << 10))),
        )
}
