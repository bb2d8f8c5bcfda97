//! What works: how many pieces come out good, by stage and by what was recorded
//! with them, why the others failed, and whether that changes. Read from counts by day,
//! which are brought up to date before.

mod by;
mod csv;
mod keep;
mod page;
mod store;
mod view;

pub use keep::keep_counted;

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/yields", get(page::show)).route("/yields/table.csv", get(page::table))
}
