//! Pages of pours.

pub(super) mod back;
pub(super) mod done;
pub(super) mod pdf;
pub(super) mod sheet;
