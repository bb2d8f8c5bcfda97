//! The plan page and what is changed on it.

pub(super) mod change;
pub(super) mod compare;
pub(super) mod flask;
mod part;
mod said;
pub(super) mod show;
pub(super) mod year;
