//! Prices by the day: what a gram, a millilitre, a kilogram or a kilowatt hour
//! costs from a day on. The newest price that is not after a day holds on it.

mod actions;
mod day;
mod forms;
mod model;
mod pages;
mod paths;
mod store;
mod view;

pub use day::{DayPrice, DayPrices, find};
pub use model::PriceKind;
pub use paths::{Price, Prices};

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/prices", get(pages::list::show).post(pages::list::submit))
        .route("/prices/{kind}", get(pages::history::show))
        .route("/prices/{kind}/{item}", get(pages::history::show_item))
}
