//! Pages of printers and resins; the owner's, for they carry rates.

pub(super) mod printer;
pub(super) mod profiles;
pub(super) mod printers;
pub(super) mod resin;
pub(super) mod resins;
