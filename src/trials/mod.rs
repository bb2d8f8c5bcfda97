//! Trials: a question, two ways of working, a fair draw, and what may be said of the outcome.
//!
//! How many pieces are needed is reckoned before the first is drawn; nothing is concluded
//! before that many are through. An answer can become the usual choice of the setting it is
//! about, is shown wherever that setting is chosen, and can be taken back.

mod actions;
mod forms;
mod model;
mod pages;
mod store;
mod view;

pub use model::Setting;
pub use view::{DrawnPiece, Usual, drawn, usual};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/trials", get(pages::list::show).post(pages::new::submit))
        .route("/trials/new", get(pages::new::show))
        .route("/trials/{number}", get(pages::show::show))
        .route("/trials/{number}/pieces", post(pages::acts::draw))
        .route("/trials/{number}/end", post(pages::acts::end))
        .route("/trials/{number}/usual", post(pages::acts::make_usual))
        .route("/trials/{number}/not-usual", post(pages::acts::take_back))
}
