//! Pages of promises.

pub(super) mod kept;
