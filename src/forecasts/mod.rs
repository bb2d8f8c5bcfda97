//! Whether forecasts of filling and feeding came true.
//!
//! As a flask is poured, what is forecast of its castings is kept; what became of each is read
//! from its attempt later. Counted by verdict, that says what a verdict is worth in this studio.
//! The verdicts themselves stay those of the calculation: what was learned is shown beside them.

mod model;
mod page;
mod store;
mod view;

pub use model::{LATEST, Said, Verdict, What};
pub use store::{keep, set_chance};
pub use view::{Beside, Counted, beside, counted};

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The page of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/forecasts", get(page::show))
}
