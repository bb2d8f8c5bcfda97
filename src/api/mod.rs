//! For other programs: JSON with tokens, described by a document that is made from the same
//! tables as the answers, and webhooks that tell what happened.

mod answer;
mod document;
mod guard;
mod pages;
mod read;
mod resources;
mod signature;
mod store;
mod tell;
mod write;

pub use tell::{tell_due, tell_for_ever};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages and addresses of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/api/v1/openapi.json", get(document::show))
        .route("/api/v1/clients", get(read::clients).post(write::client))
        .route("/api/v1/clients/{id}/payments", post(write::payment))
        .route("/api/v1/{resource}", get(read::list))
        .route("/api/v1/{resource}/{key}", get(read::one))
        .route("/studio/api", get(pages::tokens::show).post(pages::tokens::make))
        .route("/studio/api/tokens/{id}/revoke", post(pages::tokens::revoke))
        .route("/studio/api/webhooks", post(pages::webhooks::make))
        .route("/studio/api/webhooks/{id}/end", post(pages::webhooks::end))
}
