//! Pages of kilns.

pub(super) mod build;
pub(super) mod inside;
pub(super) mod parts;
