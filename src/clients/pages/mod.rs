//! Pages of clients.

pub(super) mod list;
pub(super) mod new;
pub(super) mod show;
