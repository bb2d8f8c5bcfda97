//! What making a piece again costs and how long it takes, from the studio's own records, and the
//! panel that says so wherever pieces fail: on the page of the batch they failed in.

mod model;
mod panel;
mod view;

pub use model::{Typical, days_left};
pub use panel::{of_batches, of_piece};
pub use view::{Made, Rates, StageCost, typical};
