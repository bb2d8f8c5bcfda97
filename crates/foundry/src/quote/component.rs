//! The costs of a line and how often each of them recurs.

use std::borrow::Cow;

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use crate::metal::{Fineness, WeightUnit};
use crate::quantity::Money;
use crate::source::Source;

use super::{Percent, QuoteFault};

/// What a cost is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CostKind {
    /// Metal in the piece, with what is lost in melting and finishing.
    Metal,
    /// Resin and hours of the printer.
    Print,
    /// Investment powder.
    Investment,
    /// Energy and hours of the kiln.
    Kiln,
    /// Minutes at the bench before and at casting.
    Bench,
    /// Minutes of finishing.
    Finishing,
    /// Done once, however many pieces.
    SetUp,
    /// Stones, findings, plating: bought in.
    BoughtIn,
    /// Anything else.
    Other,
}

impl CostKind {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Metal,
        Self::Print,
        Self::Investment,
        Self::Kiln,
        Self::Bench,
        Self::Finishing,
        Self::SetUp,
        Self::BoughtIn,
        Self::Other,
    ];

    /// The name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Metal => "metal",
            Self::Print => "print",
            Self::Investment => "investment",
            Self::Kiln => "kiln",
            Self::Bench => "bench",
            Self::Finishing => "finishing",
            Self::SetUp => "set-up",
            Self::BoughtIn => "bought in",
            Self::Other => "other",
        }
    }
}

/// How often a cost comes with the number of pieces made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recurs {
    /// Once for the line: design, set-up.
    Once,
    /// For each piece made: metal, resin, finishing.
    PerPiece,
    /// For each batch: hours of a plate, powder of a flask.
    PerBatch {
        /// How many pieces a batch holds.
        pieces: u32,
        /// Whether a batch begun is paid in full.
        billed: Billed,
    },
    /// For each load of whole batches: a kiln full of flasks.
    PerLoad {
        /// How many pieces a batch (flask) holds.
        pieces_per_batch: u32,
        /// How many batches a load takes.
        batches_per_load: u32,
        /// Whether a load begun is paid in full.
        billed: Billed,
    },
}

/// Who pays for the part of a batch that stays empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Billed {
    /// This line: nothing else goes in with it.
    Whole,
    /// Other work fills the rest, so only the share in use is paid.
    Share,
}

impl Recurs {
    /// How many times the cost comes for so many pieces made; `None` for a batch that holds nothing.
    #[must_use]
    pub fn times(self, made: u32) -> Option<Decimal> {
        let of = |count: u32, holds: u32, billed: Billed| match billed {
            _ if holds == 0 => None,
            Billed::Whole => Some(Decimal::from(count.div_ceil(holds))),
            Billed::Share => Decimal::from(count).checked_div(Decimal::from(holds)),
        };
        match self {
            Self::Once => Some(Decimal::ONE),
            Self::PerPiece => Some(Decimal::from(made)),
            Self::PerBatch { pieces, billed } => of(made, pieces, billed),
            Self::PerLoad { pieces_per_batch: 0, .. } => None,
            Self::PerLoad { pieces_per_batch, batches_per_load, billed } => {
                of(made.div_ceil(pieces_per_batch), batches_per_load, billed)
            }
        }
    }

    /// What it is counted in, for the working.
    pub(super) const fn counted_in(self) -> &'static str {
        match self {
            Self::Once => "once",
            Self::PerPiece => "pieces made",
            Self::PerBatch { billed: Billed::Whole, .. } => "batches",
            Self::PerBatch { billed: Billed::Share, .. } => "share of batches",
            Self::PerLoad { billed: Billed::Whole, .. } => "loads",
            Self::PerLoad { billed: Billed::Share, .. } => "share of loads",
        }
    }
}

/// Something an amount is multiplied with or divided by.
#[derive(Debug, Clone, PartialEq)]
pub enum Factor {
    /// A share that is lost on the way: divides by 1 − loss, never multiplies by 1 + loss.
    Loss(Percent),
    /// Multiplied: a fineness.
    Times {
        /// What it is.
        name: Cow<'static, str>,
        /// The factor.
        value: Decimal,
    },
    /// Divided: the share of pieces that succeed.
    DividedBy {
        /// What it is.
        name: Cow<'static, str>,
        /// The divisor.
        value: Decimal,
    },
}

/// A cost: amount × factors × price, each time it recurs.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// What it is for.
    pub kind: CostKind,
    /// Its name.
    pub name: Cow<'static, str>,
    /// How much is used each time.
    pub amount: Decimal,
    /// The unit of the amount.
    pub unit: Cow<'static, str>,
    /// What the amount is multiplied with and divided by.
    pub factors: Vec<Factor>,
    /// Price of one unit; `None` is refused when the quote is priced.
    pub price: Option<Money>,
    /// Where the price comes from.
    pub price_source: Source,
    /// How often it comes.
    pub recurs: Recurs,
}

/// The day's price of a metal, for one gram.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MetalPrice {
    /// Of the alloy as bought.
    Alloy(Option<Money>),
    /// Of the fine metal; the alloy costs its share of fine metal.
    Fine {
        /// Price of a gram of fine metal.
        per_gram: Option<Money>,
        /// Fineness of the alloy.
        fineness: Fineness,
    },
}

impl Component {
    /// A cost of any kind.
    #[must_use]
    pub fn new(
        kind: CostKind,
        name: impl Into<Cow<'static, str>>,
        amount: Decimal,
        unit: impl Into<Cow<'static, str>>,
        price: Option<Money>,
        recurs: Recurs,
    ) -> Self {
        Self {
            kind,
            name: name.into(),
            amount,
            unit: unit.into(),
            factors: Vec::new(),
            price,
            price_source: Source::Entered,
            recurs,
        }
    }

    /// Metal of a piece at the day's price; what is lost is paid for by dividing by 1 − loss.
    #[must_use]
    pub fn metal(
        name: impl Into<Cow<'static, str>>,
        grams: Decimal,
        price: MetalPrice,
        loss: Percent,
    ) -> Self {
        let (price, fineness) = match price {
            MetalPrice::Alloy(price) => (price, None),
            MetalPrice::Fine { per_gram, fineness } => (per_gram, Some(fineness)),
        };
        let mut metal = Self::new(CostKind::Metal, name, grams, "g", price, Recurs::PerPiece);
        if let Some(fineness) = fineness {
            metal.factors.push(Factor::Times {
                name: Cow::Borrowed("fineness"),
                value: fineness.per_mille() * Decimal::new(1, 3),
            });
        }
        if !loss.0.is_zero() {
            metal.factors.push(Factor::Loss(loss));
        }
        metal
    }

    /// Resin of a piece, with its supports.
    #[must_use]
    pub fn resin(millilitres: Decimal, price_per_ml: Option<Money>) -> Self {
        Self::new(CostKind::Print, "resin", millilitres, "ml", price_per_ml, Recurs::PerPiece)
    }

    /// Hours of the printer for a plate that holds a number of pieces.
    #[must_use]
    pub fn printer_hours(
        hours: Decimal,
        rate: Option<Money>,
        pieces_on_plate: u32,
        billed: Billed,
    ) -> Self {
        let recurs = Recurs::PerBatch { pieces: pieces_on_plate, billed };
        Self::new(CostKind::Print, "printer hours", hours, "h", rate, recurs)
    }

    /// Powder for a flask that holds a number of pieces.
    #[must_use]
    pub fn investment(
        kilograms: Decimal,
        price_per_kg: Option<Money>,
        pieces_in_flask: u32,
        billed: Billed,
    ) -> Self {
        let recurs = Recurs::PerBatch { pieces: pieces_in_flask, billed };
        Self::new(CostKind::Investment, "investment powder", kilograms, "kg", price_per_kg, recurs)
    }

    /// Energy and hours of a kiln load of flasks: two costs that recur alike.
    #[must_use]
    pub fn kiln(
        kilowatt_hours: Decimal,
        tariff: Option<Money>,
        hours: Decimal,
        rate: Option<Money>,
        recurs: Recurs,
    ) -> [Self; 2] {
        [
            Self::new(CostKind::Kiln, "kiln energy", kilowatt_hours, "kWh", tariff, recurs),
            Self::new(CostKind::Kiln, "kiln hours", hours, "h", rate, recurs),
        ]
    }

    /// Minutes of work at a rate by the hour.
    #[must_use]
    pub fn minutes(
        kind: CostKind,
        name: impl Into<Cow<'static, str>>,
        minutes: Decimal,
        rate_per_hour: Option<Money>,
        recurs: Recurs,
    ) -> Self {
        let mut work = Self::new(kind, name, minutes, "min", rate_per_hour, recurs);
        work.factors.push(Factor::DividedBy {
            name: Cow::Borrowed("minutes in an hour"),
            value: Decimal::from(60),
        });
        work
    }

    /// The same cost with another factor, such as the share of pieces that succeed.
    #[must_use]
    pub fn with_factor(mut self, factor: Factor) -> Self {
        self.factors.push(factor);
        self
    }
}

/// A price by the ounce, pennyweight or kilogram as a price by the gram.
///
/// # Refuses
/// A price too large to be kept exactly.
pub fn price_per_gram(price: Money, unit: WeightUnit) -> Result<Money, QuoteFault> {
    let amount = price.amount().checked_div(unit.grams()).ok_or(QuoteFault::TooLarge)?;
    Ok(Money::new(amount, price.currency()))
}

/// A measured number as a decimal of so many digits; `None` when it is not finite or too large.
#[must_use]
pub fn measured(value: f64, digits: u32) -> Option<Decimal> {
    Decimal::from_f64(value).map(|decimal| decimal.round_dp(digits))
}
