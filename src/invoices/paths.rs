//! Addresses of invoices' pages; the only source of links to them.

use std::fmt;

use crate::id::{ClientId, InvoiceId};

/// All invoices.
#[derive(Clone, Copy, Debug)]
pub struct Invoices;

/// One invoice or credit note.
#[derive(Clone, Copy, Debug)]
pub struct Invoice(pub InvoiceId);

/// The invoices of an order.
#[derive(Clone, Copy, Debug)]
pub struct InvoicesOfOrder(pub i32);

/// A client's account: what was invoiced and what was paid.
#[derive(Clone, Copy, Debug)]
pub struct Account(pub ClientId);

/// What stands on every invoice.
#[derive(Clone, Copy, Debug)]
pub(super) struct Invoicing;

impl fmt::Display for Invoices {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/invoices")
    }
}

impl fmt::Display for Invoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/invoices/{}", self.0)
    }
}

impl fmt::Display for InvoicesOfOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/orders/{}/invoices", self.0)
    }
}

impl fmt::Display for Account {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/clients/{}/account", self.0)
    }
}

impl fmt::Display for Invoicing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/studio/invoicing")
    }
}
