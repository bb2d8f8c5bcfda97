//! Pieces: what walks through the six stages, attempt by attempt.
//!
//! What happened to a piece is kept as events that are only ever added. What
//! follows from them (stage, standing, the boxes of the route card) is decided
//! in [`model`], in one place, and written in the same transaction.

mod actions;
mod card;
mod forms;
mod model;
mod pages;
mod paths;
mod store;
mod view;

pub use actions::{Act, ActFault, Recorded, create_for_order, record, undo};
pub use card::{BoxState, CardBox, Cards, Filter, RouteCard};
pub use forms::{failures, ticked};
pub use model::{Happening, PieceRefusal, Stage, Standing, State};
pub use paths::{Piece, Pieces, Ticket};
pub use view::causes;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/pieces", get(pages::list::show))
        .route("/pieces/{label}", get(pages::show::show))
        .route("/pieces/{label}/ticket", get(pages::ticket::show))
        .route("/pieces/{label}/note", post(pages::acts::note))
        .route("/pieces/{label}/failed", post(pages::acts::failed))
        .route("/pieces/{label}/undo", post(pages::acts::take_back))
        .route("/pieces/{label}/cancel", post(pages::acts::cancel))
}
