//! What tests of several capabilities need.

pub(crate) mod builders_flasks;
pub(crate) mod builders_orders;
pub(crate) mod builders_pieces;
pub(crate) mod cluster;
pub(crate) mod database;
pub(crate) mod digest;
pub(crate) mod hot;
pub(crate) mod studio;
