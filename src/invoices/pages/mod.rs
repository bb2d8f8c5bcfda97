//! Pages of invoices and accounts.

pub(super) mod account;
pub(super) mod draft;
pub(super) mod invoicing;
pub(super) mod list;
pub(super) mod order;
pub(super) mod pdf;
pub(super) mod show;
