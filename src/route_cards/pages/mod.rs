//! Pages of pieces.

pub(super) mod acts;
pub(super) mod list;
pub(super) mod photos;
pub(super) mod show;
pub(super) mod ticket;
