//! The studio's own pages.

pub(super) mod hours;
pub(super) mod index;
pub(super) mod settings;
