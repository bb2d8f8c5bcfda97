//! Pages of kiln loads.

pub(super) mod list;
pub(super) mod log;
pub(super) mod show;
