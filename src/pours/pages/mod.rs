//! Pages of pours.

pub(super) mod done;
pub(super) mod sheet;
