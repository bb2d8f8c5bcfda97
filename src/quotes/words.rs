//! What a client is told of a quote in words.

use rust_decimal::Decimal;

use super::choices::MetalRule;
use super::content::{Content, Line};

/// How a piece is delivered that is not finished.
pub(super) const AS_CAST: &str = "as cast, not finished";

impl Content {
    /// Whether nothing that is made for it is finished.
    #[must_use]
    pub fn is_as_cast(&self) -> bool {
        let mut made = self.lines.iter().filter(|line| line.n > 0).peekable();
        made.peek().is_some() && made.all(|line| line.as_cast)
    }

    /// How tax and rounding were reckoned, in a sentence for the page and the paper.
    #[must_use]
    pub fn tax_rule(&self) -> String {
        let half = half_unit(&self.currency);
        let (tax, it) = if self.tax_inclusive {
            ("The prices contain the tax", "It is taken out and rounded")
        } else {
            ("Tax comes on top of the prices", "It is rounded")
        };
        let (where_to, shared) = if self.tax_on_total {
            ("once for each rate", ", and shared out over the lines")
        } else {
            ("on each line", "")
        };
        format!(
            "{tax}. {it} {where_to} ({half} is rounded up){shared}; the total is the sum of the lines."
        )
    }

    /// How the metal is priced, in a sentence for the client; nothing when the studio provides
    /// none of it.
    #[must_use]
    pub fn metal_words(&self, accepted: bool, until: &str) -> Option<String> {
        if self.lines.iter().all(|line| line.metal_g.is_zero()) {
            return None;
        }
        Some(match (self.metal_rule, accepted) {
            (MetalRule::Fixed, false) => format!("The metal price is fixed until {until}."),
            (MetalRule::Fixed, true) => "The metal price is fixed.".to_owned(),
            (MetalRule::DayOfYes, false) => {
                "Metal is charged at the price of the day you say yes.".to_owned()
            }
            (MetalRule::DayOfYes, true) => {
                "Metal is charged at the price of the day of the yes.".to_owned()
            }
        })
    }
}

/// Half of the smallest unit of a currency, as people say it.
#[must_use]
pub fn half_unit(currency: &str) -> String {
    let name = match currency {
        "EUR" | "USD" | "CAD" | "AUD" | "NZD" | "SGD" | "HKD" | "ZAR" => "cent",
        "GBP" => "penny",
        "JPY" => "yen",
        "CHF" => "rappen",
        "SEK" => "öre",
        "NOK" | "DKK" => "øre",
        _ => {
            let digits = foundry::quantity::Currency::by_code(currency)
                .map_or(2, |known| known.minor_digits());
            return format!("half of {} {currency}", Decimal::new(1, digits));
        }
    };
    format!("half a {name}").replace("a ö", "an ö").replace("a ø", "an ø")
}

impl Line {
    /// What the client is told beside its name: what is bought in for it, and that it is not
    /// finished; empty when there is neither.
    #[must_use]
    pub fn particulars(&self) -> String {
        let with = match self.with.as_slice() {
            [] => String::new(),
            [one] => format!("with {one}"),
            [first @ .., last] => format!("with {} and {last}", first.join(", ")),
        };
        match (with.is_empty(), self.as_cast) {
            (_, false) => with,
            (true, true) => AS_CAST.to_owned(),
            (false, true) => format!("{with}; {AS_CAST}"),
        }
    }

    /// What it is, on paper: in what, with what, and how it is delivered.
    #[must_use]
    pub fn words(&self) -> String {
        let mut words = match self.alloy.as_str() {
            "" => self.name.clone(),
            alloy => format!("{} in {alloy}", self.name),
        };
        let more = self.particulars();
        if !more.is_empty() {
            words = format!("{words}, {more}");
        }
        words
    }
}
