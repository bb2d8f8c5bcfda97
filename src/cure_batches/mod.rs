//! Cure batches: patterns washed and cured together.
//!
//! A batch is washed, then cured, each with its clock; a batch that needs no
//! wash begins with the cure. Afterwards each pattern goes on or failed.

mod actions;
mod forms;
mod model;
mod pages;
mod paths;
mod store;
mod view;

pub use paths::{CureBatch, CureBatches, NewCureBatch};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/cure", get(pages::list::show).post(pages::new::submit))
        .route("/cure/new", get(pages::new::show))
        .route("/cure/{number}", get(pages::show::show))
        .route("/cure/{number}/take-out", post(pages::steps::take_out))
        .route("/cure/{number}/begin", post(pages::steps::begin))
        .route("/cure/{number}/washed", post(pages::steps::washed))
        .route("/cure/{number}/finish", post(pages::steps::finish))
        .route("/cure/{number}/take-back", post(pages::steps::take_back))
        .route("/cure/{number}/cancel", post(pages::steps::cancel))
}
