//! Addresses of quotes' pages; the only source of links to them.

use std::fmt;

/// The page on which an order is priced.
#[derive(Clone, Copy, Debug)]
pub struct PriceOrder(pub i32);

/// The quotes of an order and its client's link.
#[derive(Clone, Copy, Debug)]
pub struct Quotes(pub i32);

/// One quote of an order.
#[derive(Clone, Copy, Debug)]
pub(super) struct Quote(pub(super) i32, pub(super) i32);

impl fmt::Display for PriceOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/orders/{}/price", self.0)
    }
}

impl fmt::Display for Quotes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/orders/{}/quotes", self.0)
    }
}

impl fmt::Display for Quote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/orders/{}/quotes/{}", self.0, self.1)
    }
}

/// What an order was quoted and what it took.
#[derive(Clone, Copy, Debug)]
pub(super) struct Actual(pub(super) i32);

impl fmt::Display for Actual {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/orders/{}/quotes/actual", self.0)
    }
}
