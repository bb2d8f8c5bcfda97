//! The plan page and what is changed on it.

pub(super) mod change;
pub(super) mod compare;
pub(super) mod flask;
pub(super) mod show;
