//! Pages of tariffs.

pub(super) mod tariffs;
