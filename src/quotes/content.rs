//! What is kept of a quote: everything it was worked out from and everything it says.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};

use super::choices::{Choice, MetalRule};
use super::inputs::Inputs;
use crate::clock::Day;
use crate::id::{AlloyId, FileId};
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
    /// Whether tax is rounded once for each rate, not on each line.
    #[serde(default)]
    pub(super) tax_on_total: bool,
    /// The lines.
    pub lines: Vec<Line>,
    /// Lines of the order that have no price, and why; with any, the quote cannot be sent.
    #[serde(default)]
    pub(super) unpriced: Vec<Unpriced>,
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
    /// How the metal is priced.
    #[serde(default)]
    pub metal_rule: MetalRule,
    /// Other ways to make it, for the client to choose from.
    #[serde(default)]
    pub options: Vec<Choice>,
    /// What the main way is called beside the others.
    #[serde(default)]
    pub(super) asked_name: String,
    /// The option that the client chose, if there were any.
    #[serde(default)]
    pub chosen: Option<String>,
    /// When it is in another currency than the studio's: at which rate.
    #[serde(default)]
    pub exchange: Option<Exchange>,
}

/// Why a line has no price, and where that is put right.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Unpriced {
    /// A whole sentence that names the line.
    pub(super) what: String,
    pub(super) place: String,
    pub(super) place_name: String,
}

/// At what rate a quote in another currency was reckoned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Exchange {
    /// The studio's currency.
    pub from: String,
    /// How much of the quote's currency one unit of the studio's buys.
    pub rate: Decimal,
    /// The day of the rate.
    pub on: Day,
}

impl Exchange {
    /// The rate as people write it.
    #[must_use]
    pub fn words(&self, to: &str) -> String {
        format!("1 {} = {} {to}", self.from, self.rate.normalize())
    }
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
    /// Which alloy that is.
    #[serde(default)]
    pub alloy_id: Option<AlloyId>,
    /// Its picture.
    pub picture: Option<FileId>,
    /// How many pieces.
    pub quantity: u32,
    /// Weight of a piece in grams.
    pub weight_g: f64,
    /// How the weight was reached.
    pub(super) weight: WorkingJson,
    /// Metal charged for the whole line in grams, with what is lost; nothing when the client
    /// brings it.
    #[serde(default)]
    pub metal_g: Decimal,
    /// What a gram of it was quoted at.
    #[serde(default)]
    pub(super) metal_price: Decimal,
    /// What the client brings for it, in grams; nothing when the studio provides it.
    #[serde(default)]
    pub own_metal_g: Decimal,
    /// What a piece would cost in other numbers.
    #[serde(default)]
    pub(super) breaks: Vec<Break>,
    /// What each component costs for the whole line.
    pub(super) components: Vec<Cost>,
    /// What is bought in for it.
    #[serde(default)]
    pub(super) with: Vec<String>,
    /// Whether it is delivered as it was cast.
    #[serde(default)]
    pub(super) as_cast: bool,
    /// The amounts of the line.
    pub amounts: Amounts,
    /// The price of a piece.
    pub unit_price: Option<Decimal>,
    /// How all of it was reached.
    pub(super) working: WorkingJson,
    /// Its own tax; none is that of the quote.
    #[serde(default)]
    pub tax: Option<LineTax>,
}

/// A tax of some lines.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineTax {
    /// What it is called.
    pub name: String,
    /// Its rate in per cent.
    pub percent: Decimal,
}

/// What the lines of one tax come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaxSum {
    /// Which tax.
    pub tax: LineTax,
    /// Without it.
    pub net: Decimal,
    /// What it comes to.
    pub amount: Decimal,
    /// With it.
    pub gross: Decimal,
}

/// The price when so many are made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Break {
    pub(super) quantity: u32,
    /// Of a piece; none where lines are priced as a whole.
    pub(super) unit_price: Option<Decimal>,
    /// Of all of them; none in quotes kept before this was.
    #[serde(default)]
    pub(super) together: Option<Decimal>,
    /// How it was reached; empty in quotes kept before this was.
    #[serde(default)]
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
    /// The costs themselves, without overhead.
    pub(super) const fn direct(&self) -> Decimal {
        self.direct
    }

    /// Net less cost.
    pub(super) const fn earned(&self) -> Decimal {
        self.earned
    }

    /// What is earned, as a share of the net price.
    pub(super) fn earned_share(&self) -> Decimal {
        self.earned.checked_div(self.net).unwrap_or_default().round_dp(3)
    }
}

/// What the lines of each tax come to, in the order in which taxes first appear.
pub(super) fn by_tax(lines: &[Line], tax_of: impl Fn(&Line) -> LineTax) -> Vec<TaxSum> {
    let mut sums: Vec<TaxSum> = Vec::new();
    for line in lines {
        let (tax, of) = (tax_of(line), &line.amounts);
        match sums.iter_mut().find(|known| known.tax == tax) {
            Some(known) => {
                known.net += of.net;
                known.amount += of.tax;
                known.gross += of.gross;
            }
            None => sums.push(TaxSum { tax, net: of.net, amount: of.tax, gross: of.gross }),
        }
    }
    sums
}

impl Content {
    /// What the main way is called beside the others; empty when it has no name.
    #[must_use]
    pub fn asked_name(&self) -> &str {
        &self.asked_name
    }

    /// The tax of a line.
    #[must_use]
    pub fn tax_of(&self, line: &Line) -> LineTax {
        line.tax.clone().unwrap_or_else(|| LineTax {
            name: self.tax_name.clone(),
            percent: self.tax_percent.normalize(),
        })
    }

    /// What the lines of each tax come to, in the order in which taxes first appear.
    #[must_use]
    pub fn by_tax(&self) -> Vec<TaxSum> {
        by_tax(&self.lines, |line| self.tax_of(line))
    }

    /// Whether lines have different taxes, so that each has to be told.
    #[must_use]
    pub fn taxes_differ(&self) -> bool {
        self.by_tax().len() > 1
    }
}

impl Line {
    /// What the client brings for it, in grams, for showing.
    #[must_use]
    pub fn own_grams(&self) -> f64 {
        self.own_metal_g.to_f64().unwrap_or_default()
    }

    /// The price of a piece in another number: as a figure that opens into how it was reached, or
    /// what it comes to where the line is priced as a whole.
    pub(super) fn a_piece_in(&self, each: &Break, show: &Show, currency: &str) -> Html {
        match (each.unit_price, each.together) {
            (Some(price), _) => opened(show.money_in(price, currency), each),
            (None, Some(whole)) => {
                let mean = whole.checked_div(Decimal::from(each.quantity)).unwrap_or_default();
                Html::trusted(format!("about {}", show.money_in(mean, currency)))
            }
            (None, None) => Html::default(),
        }
    }

    /// What all of them cost in another number.
    pub(super) fn all_in(&self, each: &Break, show: &Show, currency: &str) -> Html {
        match (each.unit_price, each.together) {
            (Some(_), Some(whole)) => show.money_in(whole, currency),
            (None, Some(whole)) => opened(show.money_in(whole, currency), each),
            (_, None) => Html::default(),
        }
    }

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

/// The figure of a number that opens into how it was reached.
fn opened(figure: Html, each: &Break) -> Html {
    if each.working.steps.is_empty() { figure } else { working(&figure, &each.working) }
}
