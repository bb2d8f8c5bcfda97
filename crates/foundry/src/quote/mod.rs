//! What a piece must cost: from grams, millilitres, hours and minutes to a price with tax and deposit.
//!
//! Exact decimals throughout. Amounts are rounded to the smallest unit of the currency
//! (ISO 4217), halves away from zero, at these places only: each component of a line, the
//! line's overhead, its price (or its price per piece), its discount and its tax. Every total
//! is the plain sum of the rounded amounts above it, so what is printed always adds up. Lines may
//! carry taxes of their own; each tax is then rounded by itself, never across rates, as
//! EN 16931-1 (business group BG-23, rules BR-S-09 and BR-CO-14; from memory) reckons it.

mod component;
mod share_out;
mod check;
mod cost;
mod price;

use std::borrow::Cow;

use rust_decimal::Decimal;

use crate::quantity::{Currency, Money};
use crate::working::Working;

pub use component::{
    Billed, Component, CostKind, Factor, MetalPrice, Recurs, measured, price_per_gram,
};
pub use price::price;
pub use share_out::share_out;

/// A rate in per cent, as typed: 20 is a fifth. Checked where it is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Percent(pub Decimal);

impl Percent {
    /// As a factor: 20 % is 0.2.
    #[must_use]
    pub fn factor(self) -> Decimal {
        self.0 * Decimal::new(1, 2)
    }
}

/// Everything a quote is worked out from.
#[derive(Debug, Clone, PartialEq)]
pub struct QuoteInput {
    /// The currency of every price in it.
    pub currency: Currency,
    /// What is offered.
    pub lines: Vec<QuoteLine>,
    /// Overhead, as a share of direct cost: rent, insurance, tools, unbilled hours.
    pub overhead: Percent,
    /// What is earned on top of cost.
    pub margin: Margin,
    /// Whether each piece gets a price, or only the line.
    pub price_by: PriceBy,
    /// Taken off for this client.
    pub discount: Discount,
    /// Value added or sales tax of every line that names no other, and whether prices contain it.
    pub tax: Tax,
    /// Where discount and tax are rounded.
    pub rounding: Rounding,
    /// Share of the total to be paid before work starts.
    pub deposit: Percent,
}

/// One thing offered, in a number of equal pieces.
#[derive(Debug, Clone, PartialEq)]
pub struct QuoteLine {
    /// What the client reads.
    pub name: Cow<'static, str>,
    /// Pieces the client gets.
    pub quantity: u32,
    /// Pieces made besides, in case one fails; they cost but are not sold.
    pub spares: u32,
    /// What it costs to make them.
    pub components: Vec<Component>,
    /// Its own tax; none is that of the quote. Whether prices contain tax is the quote's to say.
    pub tax: Option<TaxClass>,
}

/// A tax that some lines have and others have not: a reduced rate, none, an exempt service.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct TaxClass {
    /// What it is called.
    pub name: Cow<'static, str>,
    /// Its rate.
    pub rate: Percent,
}

/// What is earned on top of cost; the trade quotes it in two ways.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Margin {
    /// Share of the net price: a margin of 20 % on a cost of 80 makes a price of 100.
    OfNetPrice(Percent),
    /// Markup on cost: 25 % on a cost of 80 makes a price of 100.
    MarkupOnCost(Percent),
}

/// Whether each piece gets a price.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PriceBy {
    /// The price of a piece is rounded, the line is that times the quantity.
    #[default]
    Piece,
    /// Only the price of the line is rounded.
    Line,
}

/// Taken off the prices shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Discount {
    /// Nothing.
    #[default]
    None,
    /// A share of each line.
    Share(Percent),
    /// An amount, shared out over the lines by their prices.
    Amount(Money),
}

/// Tax on the prices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tax {
    /// Comes on top of the prices shown.
    Exclusive(Percent),
    /// Is contained in the prices shown.
    Inclusive(Percent),
}

impl Tax {
    /// The rate.
    #[must_use]
    pub const fn rate(self) -> Percent {
        match self {
            Self::Exclusive(rate) | Self::Inclusive(rate) => rate,
        }
    }
}

impl QuoteInput {
    /// The rate of tax of a line.
    #[must_use]
    pub fn tax_rate(&self, line: &QuoteLine) -> Percent {
        line.tax.as_ref().map_or(self.tax.rate(), |class| class.rate)
    }
}

/// Where a shared discount and the tax are rounded; laws and habits differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Rounding {
    /// On each line; the total is their sum.
    #[default]
    PerLine,
    /// On the total, of each tax by itself, which is then shared out over the lines by largest
    /// remainders.
    OnTotal,
}

/// A priced quote.
#[derive(Debug, Clone, PartialEq)]
pub struct Quote {
    /// The lines, in the order they were given.
    pub lines: Vec<PricedLine>,
    /// Their sums.
    pub totals: Amounts,
    /// The same by tax, in the order in which the taxes first appear; they add up to the totals.
    pub by_tax: Vec<TaxTotal>,
    /// To be paid before work starts.
    pub deposit: Money,
    /// To be paid afterwards.
    pub balance: Money,
}

/// What the lines of one tax come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TaxTotal {
    /// The tax; none is that of the quote.
    pub class: Option<TaxClass>,
    /// Its rate.
    pub rate: Percent,
    /// Without tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// With tax.
    pub gross: Money,
}

/// A priced line.
#[derive(Debug, Clone, PartialEq)]
pub struct PricedLine {
    /// What the client reads.
    pub name: Cow<'static, str>,
    /// Pieces the client gets.
    pub quantity: u32,
    /// What each component costs for the whole line, in the order given.
    pub components: Vec<PricedComponent>,
    /// The amounts of the line.
    pub amounts: Amounts,
    /// The price shown for one piece, when pieces are priced.
    pub unit_price: Option<Money>,
    /// How all of it was reached.
    pub working: Working,
}

/// The cost of one component of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct PricedComponent {
    /// Its kind.
    pub kind: CostKind,
    /// Its name.
    pub name: Cow<'static, str>,
    /// Its cost for the whole line.
    pub cost: Money,
}

/// Amounts of a line or of the whole quote; each total is the sum of its lines.
///
/// `cost = direct + overhead`, `gross = net + tax`, `earned = net − cost`. With tax on top
/// `net = list − discount`; with tax contained `gross = list − discount`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Amounts {
    /// Sum of the components.
    pub direct: Money,
    /// Share of overhead.
    pub overhead: Money,
    /// Direct cost and overhead.
    pub cost: Money,
    /// The price shown before discount.
    pub list: Money,
    /// Taken off it.
    pub discount: Money,
    /// What the studio gets, without tax.
    pub net: Money,
    /// Tax.
    pub tax: Money,
    /// What the client pays.
    pub gross: Money,
    /// Net less cost; negative when sold below cost.
    pub earned: Money,
}

/// Why a quote was refused: everything that is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuoteRefusal {
    /// Each thing that is wrong.
    pub faults: Vec<QuoteFault>,
}

impl std::fmt::Display for QuoteRefusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (at, fault) in self.faults.iter().enumerate() {
            let gap = if at == 0 { "" } else { "; " };
            write!(f, "{gap}{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for QuoteRefusal {}

impl From<QuoteFault> for QuoteRefusal {
    fn from(fault: QuoteFault) -> Self {
        Self { faults: vec![fault] }
    }
}

/// One thing that is wrong with a quote.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuoteFault {
    /// Nothing is offered.
    #[error("a quote needs at least one line")]
    NoLines,
    /// A line of no pieces.
    #[error("{line}: the quantity must be at least one")]
    NoPieces {
        /// Name of the line.
        line: String,
    },
    /// A line with nothing in it.
    #[error("{line}: nothing is priced; add metal, print, investment, kiln, bench or finishing")]
    NoComponents {
        /// Name of the line.
        line: String,
    },
    /// A component without a price.
    #[error("{line}: {component} has no price; enter one for today")]
    MissingPrice {
        /// Name of the line.
        line: String,
        /// Name of the component.
        component: String,
    },
    /// A component with an amount, price or factor below zero.
    #[error("{line}: {component} has a negative amount, price or factor")]
    NegativeComponent {
        /// Name of the line.
        line: String,
        /// Name of the component.
        component: String,
    },
    /// A component divided by nothing, such as a loss of 100 %.
    #[error("{line}: {component} is divided by nothing; a loss must stay below 100 %")]
    DividedByNothing {
        /// Name of the line.
        line: String,
        /// Name of the component.
        component: String,
    },
    /// A batch that holds nothing.
    #[error("{line}: {component} is shared over a batch of no pieces; enter how many fit")]
    EmptyBatch {
        /// Name of the line.
        line: String,
        /// Name of the component.
        component: String,
    },
    /// A price in another currency.
    #[error("{what} is in {found}, the quote in {wanted}; convert it first")]
    OtherCurrency {
        /// What carries the price.
        what: String,
        /// Its currency.
        found: String,
        /// Currency of the quote.
        wanted: String,
    },
    /// A rate below zero.
    #[error("{what} of {percent} % is negative")]
    NegativeRate {
        /// Which rate.
        what: &'static str,
        /// What was given.
        percent: Decimal,
    },
    /// A rate that would take everything, or more.
    #[error("{what} of {percent} % is too much; it must stay {limit}")]
    RateTooHigh {
        /// Which rate.
        what: &'static str,
        /// What was given.
        percent: Decimal,
        /// The limit in words.
        limit: &'static str,
    },
    /// A discount below zero, or above the price.
    #[error("the discount must lie between nothing and the whole price of {most}")]
    DiscountOutOfRange {
        /// The whole price.
        most: Decimal,
    },
    /// Amounts with more digits than can be kept.
    #[error("the amounts are too large to be computed exactly; check for a slipped decimal point")]
    TooLarge,
    /// Something to be shared out by weights that are all nothing.
    #[error("an amount cannot be shared out when all shares are nothing")]
    NothingToShareBy,
}
