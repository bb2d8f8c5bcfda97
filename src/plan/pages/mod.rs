//! The plan page and what is changed on it.

pub(super) mod change;
pub(super) mod show;
