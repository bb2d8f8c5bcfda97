//! Pages of flasks.

pub(super) mod list;
pub(super) mod new;
pub(super) mod propose;
pub(super) mod sheet;
pub(super) mod show;
pub(super) mod steps;
pub(super) mod tree;
