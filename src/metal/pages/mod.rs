//! Pages of the metal ledger.

pub(super) mod alloy;
pub(super) mod buy;
pub(super) mod client;
pub(super) mod client_paper;
pub(super) mod clients;
pub(super) mod confirm;
pub(super) mod count;
pub(super) mod entries;
pub(super) mod entry;
pub(super) mod fine;
pub(super) mod losses;
pub(super) mod lot;
pub(super) mod melt;
pub(super) mod origin;
pub(super) mod stock;
