//! Money: exact decimals with their currency.

use rust_decimal::{Decimal, RoundingStrategy};

/// A currency: its ISO 4217 code and how many decimals its smallest unit has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Currency {
    code: [u8; 3],
    minor_digits: u8,
}

impl Currency {
    /// Finds a currency by its ISO 4217 code; knows those in which studios trade.
    ///
    /// # Source
    /// Minor units after ISO 4217:2015 (from memory: two digits, except the zero- and
    /// three-digit currencies listed here).
    pub fn by_code(code: &str) -> Result<Self, MoneyRefusal> {
        let unknown = || MoneyRefusal::UnknownCurrency { code: code.chars().take(8).collect() };
        let letters: [u8; 3] = code.as_bytes().try_into().map_err(|_| unknown())?;
        let minor_digits = match code {
            "CLP" | "ISK" | "JPY" | "KRW" | "PYG" | "UGX" | "VND" | "XAF" | "XOF" | "XPF" => 0,
            "BHD" | "IQD" | "JOD" | "KWD" | "LYD" | "OMR" | "TND" => 3,
            "AED" | "ARS" | "AUD" | "BGN" | "BRL" | "CAD" | "CHF" | "CNY" | "COP" | "CZK"
            | "DKK" | "EGP" | "EUR" | "GBP" | "HKD" | "HUF" | "IDR" | "ILS" | "INR" | "KES"
            | "MAD" | "MXN" | "MYR" | "NGN" | "NOK" | "NZD" | "PEN" | "PHP" | "PLN" | "RON"
            | "RSD" | "SAR" | "SEK" | "SGD" | "THB" | "TRY" | "TWD" | "UAH" | "USD" | "UYU"
            | "ZAR" => 2,
            _ => return Err(unknown()),
        };
        Ok(Self { code: letters, minor_digits })
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
