//! Who works here: signing in, sessions, roles.

mod guard;
mod pages;
mod password;
mod store;

pub use guard::{Owner, Signed};
pub use password::{PasswordRefusal, hash_password};
pub use store::{Role, add, count};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/sign-in", get(pages::sign_in::show).post(pages::sign_in::submit))
        .route("/sign-out", post(pages::sign_in::sign_out))
        .route("/first-owner", get(pages::first_owner::show).post(pages::first_owner::submit))
        .route("/people", get(pages::list::show).post(pages::list::add))
        .route("/people/{id}/leave", post(pages::list::leave))
        .route("/people/password", get(pages::own_password::show).post(pages::own_password::submit))
}
