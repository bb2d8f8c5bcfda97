//! Pages of trials.

pub(super) mod acts;
pub(super) mod list;
pub(super) mod new;
pub(super) mod show;
