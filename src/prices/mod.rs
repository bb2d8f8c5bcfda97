//! Prices by the day: what a gram, a millilitre, a kilogram or a kilowatt hour
//! costs from a day on. The newest price that is not after a day holds on it.

mod actions;
mod day;
mod fetch;
mod forms;
mod model;
mod pages;
mod paste;
mod paths;
mod rules;
mod store;
mod view;

pub use day::{DayPrice, DayPrices, Rate, find, rate};
pub use fetch::keep_fetching;
pub use model::PriceKind;
pub use paths::{Price, PriceRules, Prices};
pub use rules::{Class, Rules, Task, TaxRow, class_of, classes, tasks, taxes};

use axum::Router;
use axum::routing::{get, post};

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new()
        .route("/prices", get(pages::list::show).post(pages::list::submit))
        .route("/prices/paste", get(pages::paste::show).post(pages::paste::submit))
        .route("/prices/paste/file", post(pages::paste::file))
        .route("/prices/rules", get(pages::rules::show).post(pages::rules::submit))
        .route("/prices/fetch", post(pages::rules::fetch_now))
        .route("/prices/fetch/address", post(pages::rules::set_address))
        .route("/prices/rules/{what}", post(pages::rules::add))
        .route("/prices/rules/{what}/{id}/retire", post(pages::rules::retire))
        .route("/prices/{kind}", get(pages::history::show))
        .route("/prices/{kind}/{item}", get(pages::history::show_item))
}
