//! Kinds of prices and the units they are noted in. No SQL.

use std::str::FromStr;

use foundry::metal::WeightUnit;
use foundry::quantity::{Currency, Money};
use foundry::quote::price_per_gram;
use rust_decimal::Decimal;

/// What a price is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PriceKind {
    /// A fine metal, by the gram.
    FineMetal,
    /// An alloy as it is bought, by the gram.
    Alloy,
    /// What an alloy costs above its metals, by the gram.
    Premium,
    /// A resin, by the millilitre.
    Resin,
    /// An investment powder, by the kilogram.
    Investment,
    /// Electricity, by the kilowatt hour.
    Electricity,
    /// Gas of torch, kiln or furnace, by the kilogram.
    Gas,
    /// How much of another currency one unit of the studio's buys.
    Exchange,
}

impl PriceKind {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 8] = [
        Self::FineMetal,
        Self::Alloy,
        Self::Premium,
        Self::Resin,
        Self::Investment,
        Self::Electricity,
        Self::Gas,
        Self::Exchange,
    ];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::FineMetal => "fine_metal",
            Self::Alloy => "alloy",
            Self::Premium => "premium",
            Self::Resin => "resin",
            Self::Investment => "investment",
            Self::Electricity => "electricity",
            Self::Gas => "gas",
            Self::Exchange => "exchange",
        }
    }

    /// The unit its prices are kept in.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::FineMetal | Self::Alloy | Self::Premium => "g",
            Self::Resin => "ml",
            Self::Investment | Self::Gas => "kg",
            Self::Electricity => "kWh",
            Self::Exchange => "1",
        }
    }

    /// A heading.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::FineMetal => "Fine metals",
            Self::Alloy => "Alloys",
            Self::Premium => "Premiums over the metals",
            Self::Resin => "Resins",
            Self::Investment => "Investments",
            Self::Electricity => "Electricity",
            Self::Gas => "Gas",
            Self::Exchange => "Rates of exchange",
        }
    }

    /// The units in which a price may be typed.
    const fn typed_units(self) -> &'static str {
        match self {
            Self::FineMetal | Self::Alloy | Self::Premium => {
                "gram, kilogram, pennyweight or troy ounce"
            }
            Self::Resin => "millilitre or litre",
            Self::Investment | Self::Gas => "gram or kilogram",
            Self::Electricity => "kilowatt hour",
            Self::Exchange => "unit of your own currency, or by one unit of the other",
        }
    }

    /// Decimals that its prices are kept with.
    pub(super) const fn decimals(self) -> u32 {
        match self {
            Self::Exchange => 10,
            _ => 8,
        }
    }
}

impl FromStr for PriceKind {
    type Err = ();

    fn from_str(word: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|kind| kind.word() == word).ok_or(())
    }
}

/// Units that can be chosen when a price is typed.
pub(super) const TYPED_UNITS: [(&str, &str); 8] = [
    ("", "the unit it is listed in"),
    ("g", "gram"),
    ("kg", "kilogram"),
    ("ozt", "troy ounce"),
    ("dwt", "pennyweight"),
    ("ml", "millilitre"),
    ("l", "litre"),
    ("kWh", "kilowatt hour"),
];

/// The word for a rate typed the other way round: what one unit of the other currency costs.
pub(super) const EACH: &str = "each";

/// A typed price for one of the unit that prices of its kind are kept in, to
/// the decimals of its kind; the error says which units fit.
pub(super) fn per_own_unit(kind: PriceKind, typed: Money, unit: &str) -> Result<Decimal, String> {
    if kind == PriceKind::Exchange && typed.amount().is_zero() {
        return Err("A rate of exchange is above nothing.".to_owned());
    }
    let thousand = Decimal::ONE_THOUSAND;
    let amount = match (kind, unit) {
        (_, "") => Some(typed.amount()),
        (
            PriceKind::FineMetal | PriceKind::Alloy | PriceKind::Premium,
            "g" | "kg" | "ozt" | "dwt",
        ) => {
            let unit = match unit {
                "kg" => WeightUnit::Kilogram,
                "ozt" => WeightUnit::TroyOunce,
                "dwt" => WeightUnit::Pennyweight,
                _ => WeightUnit::Gram,
            };
            price_per_gram(typed, unit).ok().map(|price| price.amount())
        }
        (PriceKind::Resin, "ml")
        | (PriceKind::Investment | PriceKind::Gas, "kg")
        | (PriceKind::Electricity, "kWh") => Some(typed.amount()),
        (PriceKind::Exchange, EACH) => Decimal::ONE.checked_div(typed.amount()),
        (PriceKind::Resin, "l") => typed.amount().checked_div(thousand),
        (PriceKind::Investment | PriceKind::Gas, "g") => typed.amount().checked_mul(thousand),
        _ => {
            return Err(format!("This is priced by the {}; choose that.", kind.typed_units()));
        }
    };
    amount
        .map(|amount| amount.round_dp(kind.decimals()))
        .filter(|amount| kind != PriceKind::Exchange || !amount.is_zero())
        .filter(|amount| *amount < Decimal::from(1_000_000_000_000_i64))
        .ok_or_else(|| "This price is too large to be kept.".to_owned())
}

/// A price in its currency, for conversion; the code was checked when it was saved.
pub(super) fn money(amount: Decimal, currency: &str) -> Option<Money> {
    Currency::by_code(currency).ok().map(|currency| Money::new(amount, currency))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(kind: PriceKind, amount: &str, unit: &str) -> Result<String, String> {
        let typed = money(amount.parse().unwrap_or_default(), "EUR").ok_or("EUR")?;
        per_own_unit(kind, typed, unit).map(|amount| amount.normalize().to_string())
    }

    #[test]
    fn prices_are_kept_by_their_own_unit() {
        // A troy ounce is 31.1034768 g by definition.
        assert_eq!(kept(PriceKind::FineMetal, "31.1034768", "ozt").as_deref(), Ok("1"));
        assert_eq!(kept(PriceKind::FineMetal, "31.1034768", "").as_deref(), Ok("31.1034768"));
        assert_eq!(kept(PriceKind::Alloy, "980", "kg").as_deref(), Ok("0.98"));
        assert_eq!(kept(PriceKind::Resin, "240", "l").as_deref(), Ok("0.24"));
        assert_eq!(kept(PriceKind::Investment, "0.0021", "g").as_deref(), Ok("2.1"));
    }

    #[test]
    fn a_rate_may_be_typed_either_way_round() {
        assert_eq!(kept(PriceKind::Exchange, "1.0842", "").as_deref(), Ok("1.0842"));
        assert_eq!(kept(PriceKind::Exchange, "0.8", EACH).as_deref(), Ok("1.25"));
        assert_eq!(kept(PriceKind::Exchange, "28500", EACH).as_deref(), Ok("0.0000350877"));
        assert!(kept(PriceKind::Exchange, "0", "").is_err());
        assert!(
            kept(PriceKind::Exchange, "1", "g").is_err_and(|words| words.contains("own currency"))
        );
    }

    #[test]
    fn a_unit_that_does_not_fit_is_refused_in_words() {
        let refused = kept(PriceKind::Electricity, "0.30", "ozt");
        assert!(refused.is_err_and(|words| words.contains("kilowatt hour")));
        assert!(kept(PriceKind::Alloy, "1", "ml").is_err());
    }
}
