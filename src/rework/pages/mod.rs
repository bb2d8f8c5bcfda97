//! Pages of rework.

pub(super) mod order;
pub(super) mod piece;
