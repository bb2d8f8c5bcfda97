//! Addresses of prices; the only source of links to them.

use std::fmt;

use super::model::PriceKind;

/// All prices, and the form to note one.
#[derive(Clone, Copy, Debug)]
pub struct Prices;

/// The prices of one thing: its kind, and the symbol or id.
#[derive(Clone, Copy, Debug)]
pub struct Price<'a>(pub PriceKind, pub &'a str);

impl fmt::Display for Prices {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/prices")
    }
}

impl fmt::Display for Price<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "/prices/{}", self.0.word())?;
        if self.1.is_empty() { Ok(()) } else { write!(f, "/{}", self.1) }
    }
}

/// The form for a whole list of prices.
#[derive(Clone, Copy, Debug)]
pub(super) struct Paste;

/// Tasks, taxes, classes of clients, minimum and rounding.
#[derive(Clone, Copy, Debug)]
pub struct PriceRules;

impl fmt::Display for Paste {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/prices/paste")
    }
}

impl fmt::Display for PriceRules {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("/prices/rules")
    }
}
