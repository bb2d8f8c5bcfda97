//! What a client's link leads to.

pub(super) mod answer;
pub(super) mod live;
pub(super) mod picture;
pub(super) mod show;
