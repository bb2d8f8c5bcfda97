//! Pages of the finishing bench.

pub(super) mod bench;
pub(super) mod piece;
