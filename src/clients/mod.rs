//! Clients: whom the studio works for.

mod actions;
mod forms;
mod pages;
mod paths;
mod store;
mod view;

pub use actions::add_typed as add;
pub use paths::{Client, Clients, NewClient};
pub use view::choices;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/clients", get(pages::list::show).post(pages::new::submit))
        .route("/clients/new", get(pages::new::show))
        .route("/clients/{id}/put-away", post(pages::show::archive))
        .route("/clients/{id}/bring-back", post(pages::show::bring_back))
        .route("/clients/{id}", get(pages::show::show).post(pages::show::submit))
}
