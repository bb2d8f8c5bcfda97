//! Designs: models as they came, measured at once, version by version.

mod actions;
mod change;
mod closer;
mod forms;
mod intake;
mod pages;
mod paths;
mod reading;
mod ring;
mod shapes;
mod store;
mod view;
mod weight;

pub use actions::add_from_file;
pub use closer::said_of;
pub use intake::{Intake, Taken, refused_files};
pub use paths::{Design, Designs, NewDesign, Original};
pub use shapes::{Shape, shapes};
pub use weight::{AlloyDensity, alloys, weigh};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/designs", get(pages::list::show))
        .route("/designs/{number}", get(pages::show::show).post(pages::show::submit))
        .route("/designs/{number}/unit", post(pages::unit::submit))
        .route("/designs/{number}/casting", post(pages::casting::submit))
        .route("/designs/{number}/casting/advice", post(pages::casting::take_advice))
        .route("/designs/{number}/analysis", post(pages::casting::ask))
        .route("/designs/{number}/analysis/cancel", post(pages::casting::cancel))
        .route("/designs/{number}/versions/{n}/original", get(pages::original::show))
        .route("/designs/{number}/versions/{n}/repair", post(pages::repair::submit))
}

/// Pages that take models: [`Intake`] limits them instead of the limit for forms.
pub fn uploads() -> Router<App> {
    Router::new()
        .route("/designs/new", get(pages::new::show).post(pages::new::submit))
        .route("/designs/{number}/versions", post(pages::versions::submit))
        .layer(DefaultBodyLimit::disable())
}
