//! Pages of letters, templates and the post office.

pub(super) mod list;
pub(super) mod post_office;
pub(super) mod quote;
pub(super) mod show;
pub(super) mod templates;
