//! A cost of a line as quoted and as it came out.

use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;

use crate::web::{Html, Show, working_of};

/// A cost as quoted and as it came out; both for the whole line.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::quotes) struct Compared {
    pub(in crate::quotes) what: String,
    pub(in crate::quotes) unit: &'static str,
    /// In the unit of the thing itself.
    pub(in crate::quotes) quoted: Decimal,
    pub(in crate::quotes) quoted_cost: Decimal,
    /// The same as it was recorded; nothing when it was not.
    pub(in crate::quotes) taken: Option<Outcome>,
    /// Where it is recorded, when it was not.
    pub(in crate::quotes) record: &'static str,
}

/// What was recorded, and what it costs at the price quoted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::quotes) struct Outcome {
    pub(in crate::quotes) amount: Decimal,
    pub(in crate::quotes) cost: Decimal,
    /// The price of a unit as quoted; of an hour for what is told in minutes.
    pub(in crate::quotes) price: Decimal,
    /// Weighed, read or told; else the program worked it out.
    pub(in crate::quotes) measured: bool,
    /// The part of the line that the record is of, from nothing to one: one of two pieces weighed
    /// is held against half of what was quoted.
    pub(in crate::quotes) part: Decimal,
}

impl Compared {
    /// What was measured, if it was.
    fn measured(&self) -> Option<Outcome> {
        self.taken.filter(|taken| taken.measured)
    }

    /// The quoted cost of what was measured; nothing as long as nothing was.
    pub(in crate::quotes) fn held_against(&self) -> Decimal {
        self.measured().map_or(Decimal::ZERO, |taken| (self.quoted_cost * taken.part).round_dp(2))
    }

    /// What was measured costs so much.
    pub(in crate::quotes) fn took(&self) -> Decimal {
        self.measured().map_or(Decimal::ZERO, |taken| taken.cost)
    }

    /// How much more was taken than quoted; nothing as long as nothing was measured.
    pub(in crate::quotes) fn more(&self) -> Decimal {
        self.took() - self.held_against()
    }

    /// Whether some of it was told, too little to count.
    pub(in crate::quotes) fn untold(&self) -> bool {
        self.taken.is_some_and(|taken| !taken.measured && taken.part < Decimal::ONE)
            && self.unit == "min"
    }

    /// The cost of what was recorded, as a figure that opens.
    pub(in crate::quotes) fn opened(&self, show: &Show, currency: &str) -> Html {
        let cost = self.taken.map(|taken| taken.cost).unwrap_or_default();
        working_of(&show.money_in(cost, currency), &self.working(currency))
    }

    /// How the cost of what was recorded, and what it is more than quoted, were reached.
    fn working(&self, currency: &str) -> Working {
        let mut working = Working::default();
        let Some(taken) = self.taken else { return working };
        let money =
            |name, amount| Figure::exact(name, amount, currency.to_owned(), Source::Computed);
        let from = if taken.measured { Source::MeasuredHere } else { Source::Computed };
        let formula = if self.unit == "min" { "taken ÷ 60 × price" } else { "taken × price" };
        let per = if self.unit == "min" { "h" } else { self.unit };
        working.step(
            formula,
            vec![
                Figure::exact("taken", taken.amount, self.unit, from),
                Figure::exact("price", taken.price, format!("{currency}/{per}"), Source::Entered),
            ],
            money("cost of what was taken", taken.cost),
        );
        if !taken.measured {
            return working;
        }
        if taken.part < Decimal::ONE {
            working.step(
                "quoted × part of it that was recorded",
                vec![
                    money("quoted", self.quoted_cost),
                    Figure::exact(
                        "part recorded",
                        taken.part.round_dp(4),
                        "",
                        Source::MeasuredHere,
                    ),
                ],
                money("quoted for that part", self.held_against()),
            );
        }
        working.step(
            "taken − quoted",
            vec![money("taken", taken.cost), money("quoted", self.held_against())],
            money("more than quoted", self.more()),
        );
        working
    }
}
