//! Pages of mixes, and of the bowl and the bags.

pub(in crate::flasks) mod bowl;
pub(in crate::flasks) mod guide;
pub(in crate::flasks) mod mix;
