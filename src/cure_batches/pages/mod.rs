//! Pages of cure batches.

pub(super) mod list;
pub(super) mod new;
pub(super) mod show;
pub(super) mod steps;
