//! Money: exact decimals with their currency.

use rust_decimal::{Decimal, RoundingStrategy};

/// A currency: its ISO 4217 code and how many decimals its smallest unit has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Currency {
    code: [u8; 3],
    minor_digits: u8,
}

/// Codes of the currencies that people pay in, by the decimals of their smallest unit, in order.
///
/// ISO 4217:2015, list one as published on 1 January 2026, without codes of funds, metals and
/// tests; with the Bulgarian lev, in which papers were written until then.
const BY_DIGITS: [(u8, &str); 3] = [
    (0, "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF"),
    (
        2,
        "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD CAD \
         CDF CHF CNY COP CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ \
         GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL \
         MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR \
         PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT \
         TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG",
    ),
    (3, "BHD IQD JOD KWD LYD OMR TND"),
];

/// Whether a code is among codes that stand in order, with a space after each. Amounts are shown
/// by the hundred, so it halves instead of walking.
fn holds(codes: &str, code: [u8; 3]) -> bool {
    let (mut from, mut to) = (0, codes.len().div_ceil(4));
    while from < to {
        let middle = (from + to) / 2;
        match codes.as_bytes().get(middle * 4..middle * 4 + 3) {
            Some(known) if known == code => return true,
            Some(known) if *known < code[..] => from = middle + 1,
            _ => to = middle,
        }
    }
    false
}

impl Currency {
    /// Finds a currency by its ISO 4217 code.
    ///
    /// # Source
    /// Minor units after ISO 4217:2015, list one of 1 January 2026.
    pub fn by_code(code: &str) -> Result<Self, MoneyRefusal> {
        let unknown = || MoneyRefusal::UnknownCurrency { code: code.chars().take(8).collect() };
        let letters: [u8; 3] = code.as_bytes().try_into().map_err(|_| unknown())?;
        BY_DIGITS
            .iter()
            .find(|(_, codes)| holds(codes, letters))
            .map(|(minor_digits, _)| Self { code: letters, minor_digits: *minor_digits })
            .ok_or_else(unknown)
    }

    /// Every currency known here, by its code.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let mut all: Vec<Self> = BY_DIGITS
            .iter()
            .flat_map(|(_, codes)| codes.split_ascii_whitespace())
            .filter_map(|code| Self::by_code(code).ok())
            .collect();
        all.sort_unstable_by_key(|currency| currency.code);
        all
    }

    /// The three-letter code.
    #[must_use]
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.code).unwrap_or("???")
    }

    /// Decimals of the smallest unit: 2 for cents.
    #[must_use]
    pub fn minor_digits(&self) -> u32 {
        u32::from(self.minor_digits)
    }
}

/// An amount of money in one currency. Exact; rounded only where [`Money::rounded`] is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Money {
    amount: Decimal,
    currency: Currency,
}

/// Why amounts of money could not be made or combined.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoneyRefusal {
    /// The code is not one this crate knows.
    #[error(
        "“{code}” is not a currency code known here; use the three letters of ISO 4217, such as EUR"
    )]
    UnknownCurrency {
        /// What was given.
        code: String,
    },
    /// Two currencies met in one sum.
    #[error("{left} and {right} cannot be added; convert one of them first")]
    TwoCurrencies {
        /// Code of the first.
        left: String,
        /// Code of the second.
        right: String,
    },
    /// The amount has more digits than can be kept.
    #[error("the amount is too large to be kept exactly")]
    TooLarge,
}

impl Money {
    /// An amount in a currency, with any number of decimals.
    #[must_use]
    pub const fn new(amount: Decimal, currency: Currency) -> Self {
        Self { amount, currency }
    }

    /// No money in this currency.
    #[must_use]
    pub const fn zero(currency: Currency) -> Self {
        Self { amount: Decimal::ZERO, currency }
    }

    /// The exact amount.
    #[must_use]
    pub const fn amount(&self) -> Decimal {
        self.amount
    }

    /// Its currency.
    #[must_use]
    pub const fn currency(&self) -> Currency {
        self.currency
    }

    /// The sum; refuses two currencies.
    pub fn plus(self, other: Self) -> Result<Self, MoneyRefusal> {
        if self.currency != other.currency {
            return Err(MoneyRefusal::TwoCurrencies {
                left: self.currency.code().to_owned(),
                right: other.currency.code().to_owned(),
            });
        }
        let amount = self.amount.checked_add(other.amount).ok_or(MoneyRefusal::TooLarge)?;
        Ok(Self { amount, ..self })
    }

    /// The amount multiplied by an exact factor.
    pub fn times(self, factor: Decimal) -> Result<Self, MoneyRefusal> {
        let amount = self.amount.checked_mul(factor).ok_or(MoneyRefusal::TooLarge)?;
        Ok(Self { amount, ..self })
    }

    /// Rounded to the smallest unit of its currency; halves away from zero, the commercial rule.
    #[must_use]
    pub fn rounded(self) -> Self {
        let amount = self.amount.round_dp_with_strategy(
            self.currency.minor_digits(),
            RoundingStrategy::MidpointAwayFromZero,
        );
        Self { amount, ..self }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use super::*;

    #[test]
    fn every_currency_of_the_list_is_found_and_nothing_else() {
        let all = Currency::all();
        assert_eq!(all.len(), 156, "155 codes of list one, and the lev");
        for (digits, codes) in BY_DIGITS {
            for code in codes.split(' ') {
                assert_eq!(
                    Currency::by_code(code).unwrap().minor_digits(),
                    u32::from(digits),
                    "{code}"
                );
            }
        }
        for none in ["", "EU", "EURO", "eur", "XAU", "XXX", "QQQ", "AAA", "ZZZ", "E R", "AED "] {
            assert!(Currency::by_code(none).is_err(), "{none}");
        }
    }
}
