//! Pages of prices.

pub(super) mod history;
pub(super) mod list;
