//! Several flasks filled from one bowl: powder and water shared out over mixes, bags of
//! investment, and the clock as a guide at the bench.

mod model;
mod pages;
mod store;

pub(super) use pages::{bowl, guide, mix};
pub(super) use store::{after_leaving, give_back, take_powder};
