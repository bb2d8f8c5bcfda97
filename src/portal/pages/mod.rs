//! What a client's link leads to.

pub(super) mod answer;
pub(super) mod ask;
pub(super) mod invoice;
pub(super) mod live;
pub(super) mod paper;
pub(super) mod photo;
pub(super) mod picture;
pub(super) mod show;
pub(super) mod studio;
