//! Pages of prices.

pub(super) mod history;
pub(super) mod list;
pub(super) mod paste;
pub(super) mod rules;
