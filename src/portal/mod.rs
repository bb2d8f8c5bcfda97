//! The client's private page: the quote, a yes, and where the pieces are.
//!
//! There is no account. Whoever holds the link sees this one order and nothing
//! else of the studio.

mod actions;
mod guest;
mod pages;
mod questions;
mod view;
mod words;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/c/{token}", get(pages::show::show))
        .route("/c/{token}/yes", post(pages::answer::yes))
        .route("/c/{token}/no", post(pages::answer::no))
        .route("/c/{token}/live", get(pages::live::show))
        .route("/c/{token}/pictures/{n}", get(pages::picture::show))
        .route("/c/{token}/photos/{photo}", get(pages::photo::show))
        .route("/c/{token}/invoices/{id}", get(pages::invoice::show))
        .route("/c/{token}/quote.pdf", get(pages::paper::for_client))
        .route("/orders/{number}/quote.pdf", get(pages::paper::for_owner))
        .route("/c/{token}/ask", post(pages::ask::submit))
        .route("/questions", get(pages::studio::waiting))
        .route("/orders/{number}/questions", get(pages::studio::show).post(pages::studio::answer))
        .route("/orders/{number}/questions/settle", post(pages::studio::settle))
}
