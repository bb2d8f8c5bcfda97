//! The pages of who is there.

pub(super) mod hours;
pub(super) mod show;
