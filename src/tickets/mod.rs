//! Tickets: what is tied to a bag, a flask or a tray, with a code that a phone's camera reads.
//!
//! Each piece, plate, cure batch, flask and load has a short address of its own. It leads to
//! the page of the step that comes next, and only after signing in.

mod code;
mod lead;
mod pages;
mod qr;
mod store;
mod view;

pub use code::Code;
pub use lead::place_of_code;
pub use qr::{address, modules, qr};
pub use store::codes;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/t", get(pages::open::find))
        .route("/t/open", get(pages::open::all_open))
        .route("/t/{code}", get(pages::open::open))
        // As it stands in the code: capitals make it smaller.
        .route("/T/{code}", get(pages::open::open))
        .route("/tickets", get(pages::sheet::show))
}
