//! Pages of orders.

pub(super) mod close;
pub(super) mod files;
pub(super) mod lines;
pub(super) mod list;
pub(super) mod new;
pub(super) mod show;
