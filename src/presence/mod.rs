//! Who is there when: hours of single people, and who is ill or away. The studio is staffed
//! while somebody is there who may load kilns and pour; what follows for the plan is looked at
//! in the background (`plan::watch`).

mod actions;
mod forms;
mod pages;
mod store;

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/presence", get(pages::show::show))
        .route("/people/{id}/away", post(pages::show::away))
        .route("/absences/{id}/end", post(pages::show::end))
        .route("/people/{id}/hours", get(pages::hours::show).post(pages::hours::submit))
        .route("/people/{id}/hours/studio", post(pages::hours::keep_studio))
}
