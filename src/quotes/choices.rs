//! What a client may choose between, and metal that moves with the day. No SQL.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

use super::content::{Amounts, Content, Line, LineTax};
use super::words::AS_CAST;
use crate::id::AlloyId;
use crate::json::working::WorkingJson;
use foundry::quantity::Currency;
use foundry::source::Source;
use foundry::working::{Figure, Working};

/// How the metal in a quote is priced.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MetalRule {
    /// As quoted, for as long as the quote holds.
    #[default]
    Fixed,
    /// At the price of the day on which the client says yes.
    DayOfYes,
}

impl MetalRule {
    /// The word kept and sent.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fixed => "fixed",
            Self::DayOfYes => "day_of_yes",
        }
    }
}

/// Another way to make the same order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct OptionSpec {
    pub(super) name: String,
    /// All lines in this alloy; none leaves them as they are.
    pub(super) alloy: Option<AlloyId>,
    /// Cast and cut off only, not finished.
    pub(super) as_cast: bool,
}

/// A way to make the order with what it costs, as the client reads it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Choice {
    /// What it is called.
    pub name: String,
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
    /// What it does to the order's lines.
    pub(super) spec: OptionSpec,
}

impl Choice {
    /// What it is called, with how it is delivered.
    #[must_use]
    pub fn words(&self) -> String {
        if self.lines.iter().any(|line| line.as_cast) && self.spec.as_cast {
            return format!("{} ({AS_CAST})", self.name);
        }
        self.name.clone()
    }
}

/// A line of the order as a client chose it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChosenLine {
    /// Its number within the order.
    pub n: i32,
    /// In what; none leaves it as it is.
    pub alloy: Option<AlloyId>,
    /// Not finished.
    pub as_cast: bool,
}

impl Content {
    /// The same quote with one of its options in place of what was asked; `None` when there
    /// is no such option. Option 0 is what was asked.
    #[must_use]
    pub fn choosing(&self, option: usize) -> Option<(Self, Vec<ChosenLine>)> {
        let mut chosen = self.clone();
        let Some(at) = option.checked_sub(1) else { return Some((chosen, Vec::new())) };
        let choice = self.options.get(at)?;
        chosen.lines.clone_from(&choice.lines);
        chosen.totals = choice.totals;
        chosen.deposit = choice.deposit;
        chosen.balance = choice.balance;
        chosen.working = choice.working.clone();
        chosen.chosen = Some(choice.name.clone());
        let lines = choice
            .lines
            .iter()
            .map(|line| ChosenLine {
                n: line.n,
                alloy: choice.spec.alloy,
                as_cast: choice.spec.as_cast,
            })
            .collect();
        Some((chosen, lines))
    }

    /// What the client chose, where there was a choice.
    #[must_use]
    pub fn chosen_words(&self) -> Option<&str> {
        match (&self.chosen, self.asked_name()) {
            (Some(chosen), _) => Some(chosen),
            (None, _) if self.options.is_empty() => None,
            (None, "") => Some("as asked"),
            (None, name) => Some(name),
        }
    }

    /// Alloys whose price of the day moves this quote.
    #[must_use]
    pub fn moving_alloys(&self) -> Vec<(AlloyId, String)> {
        if self.metal_rule == MetalRule::Fixed {
            return Vec::new();
        }
        let all = self.lines.iter().chain(self.options.iter().flat_map(|choice| &choice.lines));
        let mut alloys: Vec<(AlloyId, String)> = all
            .filter(|line| line.metal_g > Decimal::ZERO)
            .filter_map(|line| line.alloy_id.map(|id| (id, line.alloy.clone())))
            .collect();
        alloys.sort();
        alloys.dedup();
        alloys
    }

    /// The same quote with the metal at the price of a day: the difference stands as a line of
    /// its own, with tax, without overhead, margin or discount; the deposit stays.
    ///
    /// `price_of` tells the price of a gram; none is refused by leaving the content as it is.
    #[must_use]
    pub fn at_day(
        &self,
        day_words: &str,
        price_of: &dyn Fn(AlloyId) -> Option<Decimal>,
    ) -> Option<Self> {
        let mut moved = self.clone();
        if self.metal_rule == MetalRule::Fixed {
            return Some(moved);
        }
        let mut taxes: Vec<LineTax> = Vec::new();
        for line in self.lines.iter().filter(|line| line.metal_g > Decimal::ZERO) {
            let tax = self.tax_of(line);
            if !taxes.contains(&tax) {
                taxes.push(tax);
            }
        }
        for tax in taxes {
            let Some((amounts, working)) = self.moved(&tax, price_of)? else { continue };
            let name = format!("metal at the price of {day_words}");
            let own =
                LineTax { name: self.tax_name.clone(), percent: self.tax_percent.normalize() };
            let line = Line::extra(name, amounts, &working);
            moved.lines.push(Line { tax: Some(tax).filter(|tax| *tax != own), ..line });
            moved.totals = moved.totals.plus(&amounts);
        }
        moved.balance = moved.totals.gross - moved.deposit;
        if moved.lines.len() > self.lines.len() {
            moved.retotal();
        }
        Some(moved)
    }

    /// What the metal of the lines of one tax costs more or less on a day; `None` within when
    /// that comes to nothing.
    fn moved(
        &self,
        tax: &LineTax,
        price_of: &dyn Fn(AlloyId) -> Option<Decimal>,
    ) -> Option<Option<(Amounts, Working)>> {
        let digits = Currency::by_code(&self.currency).map_or(2, |known| known.minor_digits());
        let round = |amount: Decimal| {
            amount.round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero)
        };
        let currency = self.currency.clone();
        let (mut net, mut working) = (Decimal::ZERO, Working::default());
        let with_metal = self.lines.iter().filter(|line| line.metal_g > Decimal::ZERO);
        for line in with_metal.filter(|line| self.tax_of(line) == *tax) {
            let today = price_of(line.alloy_id?)?;
            let change = line.metal_g.checked_mul(today.checked_sub(line.metal_price)?)?;
            net = net.checked_add(change)?;
            let per_gram = format!("{currency}/g");
            working.step(
                "metal × (price of the day − price quoted)",
                vec![
                    Figure::exact(
                        format!("metal of {}", line.name),
                        line.metal_g,
                        "g",
                        Source::Computed,
                    ),
                    Figure::exact("price of the day", today, per_gram.clone(), Source::Entered),
                    Figure::exact("price quoted", line.metal_price, per_gram, Source::Entered),
                ],
                Figure::exact("difference", change, currency.clone(), Source::Computed),
            );
        }
        let net = round(net);
        if net.is_zero() {
            return Some(None);
        }
        let amount = round(net.checked_mul(tax.percent)?.checked_div(Decimal::ONE_HUNDRED)?);
        let gross = net + amount;
        working.step(
            "difference, rounded, and its tax",
            vec![
                Figure::exact("net", net, currency.clone(), Source::Computed),
                Figure::exact("tax", amount, currency.clone(), Source::Computed),
            ],
            Figure::exact("to pay", gross, currency, Source::Computed),
        );
        let list = if self.tax_inclusive { gross } else { net };
        // What the metal costs more or less is passed on as it is: nothing is earned by it.
        let passed_on = Amounts::extra(list, net, amount, Decimal::ZERO);
        Some(Some((Amounts { cost: net, direct: net, ..passed_on }, working)))
    }
}

impl Line {
    /// A line beside those of the order: an amount that belongs to none of them.
    pub(super) fn extra(name: impl Into<String>, amounts: Amounts, working: &Working) -> Self {
        Self {
            n: 0,
            name: name.into(),
            alloy: String::new(),
            alloy_id: None,
            picture: None,
            quantity: 1,
            weight_g: 0.0,
            weight: WorkingJson::default(),
            metal_g: Decimal::ZERO,
            metal_price: Decimal::ZERO,
            own_metal_g: Decimal::ZERO,
            breaks: Vec::new(),
            components: Vec::new(),
            with: Vec::new(),
            as_cast: false,
            amounts,
            unit_price: Some(amounts.list),
            working: WorkingJson::from(working),
            tax: None,
        }
    }
}

impl Amounts {
    /// Amounts of such a line.
    pub(super) fn extra(list: Decimal, net: Decimal, tax: Decimal, earned: Decimal) -> Self {
        Self {
            direct: Decimal::ZERO,
            overhead: Decimal::ZERO,
            cost: Decimal::ZERO,
            list,
            discount: Decimal::ZERO,
            net,
            tax,
            gross: net + tax,
            earned,
        }
    }

    pub(super) fn plus(&self, other: &Self) -> Self {
        Self {
            direct: self.direct + other.direct,
            overhead: self.overhead + other.overhead,
            cost: self.cost + other.cost,
            list: self.list + other.list,
            discount: self.discount + other.discount,
            net: self.net + other.net,
            tax: self.tax + other.tax,
            gross: self.gross + other.gross,
            earned: self.earned + other.earned,
        }
    }
}
