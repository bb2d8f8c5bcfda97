//! Promises: by which day an order is ready, with the chance that it is, and how many of the
//! days that were promised have held.
//!
//! A forecast reads the studio's own yields and times (`habits.rs`), where the order's pieces
//! are (`progress.rs`) and when kiln and furnace are free beside the plan, and asks foundry. A
//! day that is sent to a client is kept with its chance and never changed.

mod chances;
mod habits;
mod model;
mod pages;
mod progress;
mod reckon;
mod store;
mod view;

pub use chances::{UNLIKELY, at_risk, keep_reckoned, reckon_agreed};
pub use model::{Outlook, chance_words};
pub use reckon::{Asked, PieceAt, days, reckon};
pub use store::keep;
pub use view::{PromiseRow, promised};

use axum::Router;
use axum::routing::get;

use crate::web::App;

/// The pages of this capability.
pub fn router() -> Router<App> {
    Router::new().route("/promises", get(pages::kept::show))
}
