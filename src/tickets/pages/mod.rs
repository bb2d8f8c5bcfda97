//! Pages of tickets.

pub(super) mod open;
pub(super) mod sheet;
