//! Pages of kilns.

pub(super) mod inside;
