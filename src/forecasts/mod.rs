//! Whether forecasts of filling and feeding came true.
//!
//! As a flask is poured, what is forecast of its castings is kept; what became of each is read
//! from its attempt later. Counted by verdict, that says what a verdict is worth in this studio.
//! From the same castings follows where the limit of a verdict lies in this studio; once it is taken
//! over, verdicts are given by it, with that of the calculation beside.

mod chart;
mod margin;
mod model;
mod page;
mod store;
mod view;

pub use margin::{Limits, drawn};
pub use model::{LATEST, Said, Verdict, What};
pub use store::{keep, limits, set_chance, set_limit};
pub use view::{Beside, Counted, Seen, Way, beside, counted, seen};

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The page of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/forecasts", get(page::show))
}
