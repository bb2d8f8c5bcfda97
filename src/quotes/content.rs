//! What is kept of a quote: everything it was worked out from and everything it says.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::inputs::Inputs;
use crate::id::FileId;
use crate::json::working::WorkingJson;
use crate::web::{Html, Show, working};

/// A priced quote as it is kept; never changed once it is sent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Content {
    /// What the owner typed.
    pub(super) inputs: Inputs,
    /// ISO 4217 code.
    pub currency: String,
    /// What the tax is called.
    pub tax_name: String,
    /// Its rate in per cent.
    pub tax_percent: Decimal,
    /// Whether the prices shown contain it.
    pub tax_inclusive: bool,
    /// The lines.
    pub lines: Vec<Line>,
    /// Their sums.
    pub totals: Amounts,
    /// To be paid before work starts.
    pub deposit: Decimal,
    /// To be paid afterwards.
    pub balance: Decimal,
    /// How the totals were reached.
    pub(super) working: WorkingJson,
    /// What the owner should know before sending it.
    pub(super) notes: Vec<String>,
}

/// A line of a quote.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Its number within the order.
    pub n: i32,
    /// What the client reads.
    pub name: String,
    /// In what.
    pub alloy: String,
    /// Its picture.
    pub picture: Option<FileId>,
    /// How many pieces.
    pub quantity: u32,
    /// Weight of a piece in grams.
    pub weight_g: f64,
    /// How the weight was reached.
    pub(super) weight: WorkingJson,
    /// What each component costs for the whole line.
    pub(super) components: Vec<Cost>,
    /// The amounts of the line.
    pub amounts: Amounts,
    /// The price of a piece.
    pub unit_price: Option<Decimal>,
    /// How all of it was reached.
    pub(super) working: WorkingJson,
}

/// A component's cost.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Cost {
    pub(super) kind: String,
    pub(super) name: String,
    pub(super) cost: Decimal,
}

/// Amounts of a line or of the whole quote.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Amounts {
    /// Sum of the components.
    pub(super) direct: Decimal,
    /// Share of overhead.
    pub(super) overhead: Decimal,
    /// Direct cost and overhead.
    pub(super) cost: Decimal,
    /// The price shown before discount.
    pub list: Decimal,
    /// Taken off it.
    pub discount: Decimal,
    /// Without tax.
    pub net: Decimal,
    /// Tax.
    pub tax: Decimal,
    /// What the client pays.
    pub gross: Decimal,
    /// Net less cost.
    pub(super) earned: Decimal,
}

impl From<&foundry::quote::Amounts> for Amounts {
    fn from(amounts: &foundry::quote::Amounts) -> Self {
        Self {
            direct: amounts.direct.amount(),
            overhead: amounts.overhead.amount(),
            cost: amounts.cost.amount(),
            list: amounts.list.amount(),
            discount: amounts.discount.amount(),
            net: amounts.net.amount(),
            tax: amounts.tax.amount(),
            gross: amounts.gross.amount(),
            earned: amounts.earned.amount(),
        }
    }
}

impl Amounts {
    /// What is earned, in per cent of the net price.
    pub(super) fn earned_percent(&self) -> Decimal {
        (self.earned * Decimal::ONE_HUNDRED).checked_div(self.net).unwrap_or_default().round_dp(1)
    }
}

impl Line {
    /// A component's cost as a figure that opens into how it was reached.
    pub(super) fn part(&self, part: &Cost, show: &Show, currency: &str) -> Html {
        let wanted = format!("cost of {}", part.name);
        let steps: Vec<_> =
            self.working.steps.iter().filter(|step| step.result.name == wanted).cloned().collect();
        let figure = show.money_in(part.cost, currency);
        if steps.is_empty() {
            return figure;
        }
        working(&figure, &WorkingJson { steps, warnings: Vec::new() })
    }
}
