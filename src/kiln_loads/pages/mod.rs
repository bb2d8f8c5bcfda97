//! Pages of kiln loads.

pub(super) mod show;
