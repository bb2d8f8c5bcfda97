//! What was found on a piece: what it looks like, where, and whether it was mended.
//!
//! Said in words at the plate and at the bench, or pointed at on pictures of the model.
//! What can be mended is mended before the piece passes; the rest is why it failed.

mod forms;
mod looks;
mod pages;
mod store;
mod view;

pub use store::{NewFinding, add, not_mended};
pub use view::{FindingRow, of_attempts, of_piece};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/pieces/{label}/findings", get(pages::show).post(pages::note))
        .route("/pieces/{label}/findings/{id}/mended", post(pages::mended))
        .route("/pieces/{label}/findings/{id}/take-back", post(pages::take_back))
        .route("/pieces/{label}/seen/{view}", get(looks::picture))
}
