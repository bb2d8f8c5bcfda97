//! Pages of quotes; only the owner sees them.

pub(super) mod actual;
pub(super) mod price;
pub(super) mod quote;
pub(super) mod quotes;
