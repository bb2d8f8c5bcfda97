//! Addresses of orders' pages; the only source of links to them.

use std::fmt;

/// The list.
#[derive(Clone, Copy, Debug)]
pub struct Orders;

/// The form for a new one.
#[derive(Clone, Copy, Debug)]
pub struct NewOrder;

/// One order, by its number.
#[derive(Clone, Copy, Debug)]
pub struct Order(pub i32);

impl fmt::Display for Orders {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/orders")
    }
}

impl fmt::Display for NewOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/orders/new")
    }
}

impl fmt::Display for Order {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/orders/{}", self.0)
    }
}
