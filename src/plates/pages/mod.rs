//! Pages of plates.

pub(super) mod layout;
pub(super) mod list;
pub(super) mod new;
pub(super) mod propose;
pub(super) mod run;
pub(super) mod show;
