//! Orders: what a client asks for, line by line, until it is handed over.

mod actions;
mod forms;
mod pages;
mod paths;
mod state;
mod store;
mod view;

pub use paths::{NewOrder, Order, Orders};
pub use state::OrderState;
pub use store::{
    LockedOrder, choose_line, lock, mark_agreed, mark_quoted, outdate_quotes, set_due,
};
pub use view::{LineRow, OrderRow, lines, load};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/orders", get(pages::list::show))
        .route("/orders/{number}", get(pages::show::show).post(pages::show::submit))
        .route("/orders/{number}/lines", post(pages::lines::add))
        .route("/orders/{number}/lines/{n}", post(pages::lines::change))
        .route("/orders/{number}/lines/{n}/remove", post(pages::lines::remove))
        .route("/orders/{number}/cancel", post(pages::close::cancel))
        .route("/orders/{number}/hand-over", post(pages::close::hand_over))
}

/// Pages that take models.
pub fn uploads() -> Router<App> {
    Router::new()
        .route("/orders/new", get(pages::new::show).post(pages::new::submit))
        .route("/orders/{number}/files", post(pages::files::submit))
        .layer(DefaultBodyLimit::disable())
}
