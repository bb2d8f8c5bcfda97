//! Pages of designs.

pub(super) mod casting;
pub(super) mod list;
pub(super) mod new;
pub(super) mod original;
pub(super) mod repair;
pub(super) mod show;
pub(super) mod unit;
pub(super) mod versions;
