//! Figures, units and dates as people read them: the only place that rounds for display.

use jiff::tz::TimeZone;
use rust_decimal::{Decimal, RoundingStrategy};

use crate::clock::{Day, Moment};
use crate::web::Html;
use foundry::quantity::{
    Celsius, Currency, GRAMS_PER_PENNYWEIGHT, GRAMS_PER_TROY_OUNCE, MM_PER_INCH,
};

/// The units a studio reads in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Units {
    /// Fahrenheit instead of Celsius.
    pub fahrenheit: bool,
    /// Inches instead of millimetres.
    pub inches: bool,
    /// `g`, `dwt` or `ozt`.
    pub mass: String,
    /// ISO 4217 code.
    pub currency: String,
}

impl Default for Units {
    fn default() -> Self {
        Self { fahrenheit: false, inches: false, mass: "g".to_owned(), currency: "EUR".to_owned() }
    }
}

/// Writes quantities in the studio's units and times in its zone.
#[derive(Clone, Debug)]
pub struct Show {
    /// The units.
    pub units: Units,
    /// The time zone.
    pub zone: TimeZone,
    /// The moment the page was made.
    pub now: Moment,
}

/// A value or a reference to one: templates hand over either.
pub trait Plain<T> {
    /// The value.
    fn plain(self) -> T;
}

macro_rules! plain {
    ($($kind:ty),+) => {$(
        impl Plain<$kind> for $kind {
            fn plain(self) -> $kind {
                self
            }
        }
        impl Plain<$kind> for &$kind {
            fn plain(self) -> $kind {
                *self
            }
        }
        impl Plain<$kind> for &&$kind {
            fn plain(self) -> $kind {
                **self
            }
        }
    )+};
}

plain!(f64, i64, i32, Decimal, Day, Moment);

/// Groups the digits before the point by thin spaces.
pub(super) fn grouped(number: &str) -> String {
    let (sign, rest) = number.strip_prefix('-').map_or(("", number), |rest| ("\u{2212}", rest));
    let (whole, part) = rest.split_once('.').map_or((rest, None), |(w, p)| (w, Some(p)));
    let mut out = String::from(sign);
    for (n, digit) in whole.chars().enumerate() {
        if n > 0 && (whole.len() - n).is_multiple_of(3) && whole.len() > 4 {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    if let Some(part) = part {
        out.push('.');
        out.push_str(part);
    }
    out
}

fn figure(number: &str, unit: &str) -> Html {
    if unit.is_empty() {
        return Html::trusted(format!("<span class=\"fig\">{number}</span>"));
    }
    Html::trusted(format!(
        "<span class=\"fig\">{number}<span class=\"unit\">\u{202f}{}</span></span>",
        Html::escaped(unit)
    ))
}

impl Show {
    /// As the studio reads: in its units and its time zone.
    #[must_use]
    pub fn of(settings: &crate::studio::Settings, now: Moment) -> Self {
        let units = Units {
            fahrenheit: settings.temperature_unit == "F",
            inches: settings.length_unit == "inch",
            mass: settings.mass_unit.clone(),
            currency: settings.currency.clone(),
        };
        Self { units, zone: settings.zone(), now }
    }

    /// A plain number with so many decimals and a unit.
    #[must_use]
    pub fn number(&self, value: impl Plain<f64>, decimals: usize, unit: &str) -> Html {
        let value = &value.plain();
        figure(&grouped(&format!("{value:.decimals$}")), unit)
    }

    /// A count.
    #[must_use]
    pub fn count(&self, n: impl Plain<i64>) -> Html {
        let n = &n.plain();
        figure(&grouped(&n.to_string()), "")
    }

    /// A mass, in the studio's unit.
    #[must_use]
    pub fn grams(&self, grams: impl Plain<f64>) -> Html {
        let grams = &grams.plain();
        match self.units.mass.as_str() {
            "dwt" => figure(&grouped(&format!("{:.2}", grams / GRAMS_PER_PENNYWEIGHT)), "dwt"),
            "ozt" => figure(&grouped(&format!("{:.4}", grams / GRAMS_PER_TROY_OUNCE)), "ozt"),
            _ if grams.abs() >= 1000.0 => figure(&grouped(&format!("{grams:.1}")), "g"),
            _ => figure(&grouped(&format!("{grams:.2}")), "g"),
        }
    }

    /// A mass as `grams` shows it, so that a sum of what is shown is the sum that is shown.
    #[must_use]
    pub fn as_shown(&self, grams: impl Plain<f64>) -> f64 {
        let grams = grams.plain();
        let round = |value: f64, digits: i32| {
            let tens = 10f64.powi(digits);
            (value * tens).round() / tens
        };
        match self.units.mass.as_str() {
            "dwt" => round(grams / GRAMS_PER_PENNYWEIGHT, 2) * GRAMS_PER_PENNYWEIGHT,
            "ozt" => round(grams / GRAMS_PER_TROY_OUNCE, 4) * GRAMS_PER_TROY_OUNCE,
            _ if grams.abs() >= 1000.0 => round(grams, 1),
            _ => round(grams, 2),
        }
    }

    /// A mass of powder or water: whole grams, whatever the unit for metal is.
    #[must_use]
    pub fn bulk_grams(&self, grams: impl Plain<f64>) -> Html {
        let grams = &grams.plain();
        figure(&grouped(&format!("{grams:.0}")), "g")
    }

    /// A mass as the ledger counts it: in grams to the centigram, however large it is.
    #[must_use]
    pub fn centigrams(&self, cg: impl Plain<i64>) -> Html {
        let grams = cg.plain() as f64 / 100.0;
        match self.units.mass.as_str() {
            "dwt" | "ozt" => self.grams(grams),
            _ => figure(&grouped(&format!("{grams:.2}")), "g"),
        }
    }

    /// A length, in the studio's unit.
    #[must_use]
    pub fn mm(&self, mm: impl Plain<f64>) -> Html {
        let mm = &mm.plain();
        if self.units.inches {
            figure(&grouped(&format!("{:.3}", mm / MM_PER_INCH)), "in")
        } else {
            figure(&grouped(&format!("{mm:.1}")), "mm")
        }
    }

    /// A volume.
    #[must_use]
    pub fn volume(&self, mm3: impl Plain<f64>) -> Html {
        let mm3 = &mm3.plain();
        figure(&grouped(&format!("{:.3}", mm3 / 1000.0)), "cm³")
    }

    /// An area.
    #[must_use]
    pub fn area(&self, mm2: impl Plain<f64>) -> Html {
        let mm2 = &mm2.plain();
        figure(&grouped(&format!("{:.2}", mm2 / 100.0)), "cm²")
    }

    /// A temperature, in the studio's unit.
    #[must_use]
    pub fn celsius(&self, celsius: impl Plain<f64>) -> Html {
        let celsius = &celsius.plain();
        if self.units.fahrenheit {
            figure(&grouped(&format!("{:.0}", Celsius::of(*celsius).fahrenheit())), "°F")
        } else {
            figure(&grouped(&format!("{celsius:.0}")), "°C")
        }
    }

    /// A temperature without markup, for drawings.
    #[must_use]
    pub fn degrees(&self, celsius: impl Plain<f64>) -> String {
        let celsius = &celsius.plain();
        if self.units.fahrenheit {
            format!("{:.0} °F", Celsius::of(*celsius).fahrenheit())
        } else {
            format!("{celsius:.0} °C")
        }
    }

    /// A duration in hours and minutes, from a count of the database.
    #[must_use]
    pub fn whole_minutes(&self, minutes: impl Plain<i32>) -> Html {
        let minutes = &minutes.plain();
        self.minutes(i64::from(*minutes))
    }

    /// A duration in hours and minutes.
    #[must_use]
    pub fn minutes(&self, minutes: impl Plain<i64>) -> Html {
        let minutes = &minutes.plain();
        let (sign, whole) = if *minutes < 0 {
            ("\u{2212}", minutes.unsigned_abs())
        } else {
            ("", minutes.unsigned_abs())
        };
        let (hours, rest) = (whole / 60, whole % 60);
        if hours == 0 {
            return figure(&format!("{sign}{rest}"), "min");
        }
        Html::trusted(format!(
            "<span class=\"fig\">{sign}{hours}<span class=\"unit\">\u{202f}h</span> {rest:02}<span class=\"unit\">\u{202f}min</span></span>"
        ))
    }

    /// A duration without markup, for drawings and their readings: `3 h 05 min`.
    #[must_use]
    pub fn span(&self, minutes: impl Plain<f64>) -> String {
        let whole = minutes.plain().round() as i64;
        let (hours, rest) = (whole.abs() / 60, whole.abs() % 60);
        let sign = if whole < 0 { "\u{2212}" } else { "" };
        if hours == 0 {
            format!("{sign}{rest} min")
        } else {
            format!("{sign}{hours} h {rest:02} min")
        }
    }

    /// An amount in the studio's currency, with all decimals of its smallest unit.
    #[must_use]
    pub fn money(&self, amount: impl Plain<Decimal>) -> Html {
        let amount = &amount.plain();
        self.money_in(amount, &self.units.currency)
    }

    /// An amount in a given currency.
    #[must_use]
    pub fn money_in(&self, amount: impl Plain<Decimal>, currency: &str) -> Html {
        let amount = &amount.plain();
        let digits = Currency::by_code(currency).map_or(2, |known| known.minor_digits());
        let rounded = amount.round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero);
        figure(&grouped(&format!("{rounded:.*}", digits as usize)), currency)
    }

    /// An amount with all decimals it was given, and those of the currency's smallest unit at least.
    #[must_use]
    pub fn money_exact(&self, amount: impl Plain<Decimal>, currency: &str) -> Html {
        let shown = amount.plain().normalize();
        let digits = Currency::by_code(currency).map_or(2, |known| known.minor_digits());
        let decimals = shown.scale().max(digits) as usize;
        figure(&grouped(&format!("{shown:.decimals$}")), currency)
    }

    /// An amount without markup, for papers and letters: `1234.50 EUR`.
    #[must_use]
    pub fn money_text(&self, amount: impl Plain<Decimal>, currency: &str) -> String {
        let digits = Currency::by_code(currency).map_or(2, |known| known.minor_digits());
        let rounded =
            amount.plain().round_dp_with_strategy(digits, RoundingStrategy::MidpointAwayFromZero);
        format!("{}\u{a0}{currency}", grouped(&format!("{rounded:.*}", digits as usize)))
    }

    /// An amount without markup, with all decimals it was given.
    #[must_use]
    pub fn money_exact_text(&self, amount: impl Plain<Decimal>, currency: &str) -> String {
        let shown = amount.plain().normalize();
        let digits = Currency::by_code(currency).map_or(2, |known| known.minor_digits());
        let decimals = shown.scale().max(digits) as usize;
        format!("{}\u{a0}{currency}", grouped(&format!("{shown:.decimals$}")))
    }

    /// A day with its year, for papers and letters: `25 Nov 2026`.
    #[must_use]
    pub fn day_text(&self, day: impl Plain<Day>) -> String {
        day.plain().0.strftime("%-d %b %Y").to_string()
    }

    /// A price, with as many decimals as it was given and two at least.
    #[must_use]
    pub fn price(&self, amount: impl Plain<Decimal>, per: &str) -> Html {
        let amount = &amount.plain();
        let shown = amount.normalize();
        let decimals = shown.scale().max(2) as usize;
        figure(&grouped(&format!("{shown:.decimals$}")), &format!("{}/{per}", self.units.currency))
    }

    /// A share of one as a percentage.
    #[must_use]
    pub fn percent(&self, share: impl Plain<Decimal>) -> Html {
        let share = &share.plain();
        let percent = (share * Decimal::ONE_HUNDRED).round_dp(2).normalize();
        figure(&grouped(&percent.to_string()), "%")
    }

    /// A share in a column, where all have the same decimals: `1.20 %`.
    #[must_use]
    pub fn percent_column(&self, share: impl Plain<Decimal>) -> Html {
        let percent = (share.plain() * Decimal::ONE_HUNDRED).round_dp(2);
        figure(&grouped(&format!("{percent:.2}")), "%")
    }

    /// A day with its weekday, without the year when it is this one: `Wed 25 Nov`.
    #[must_use]
    pub fn day(&self, day: impl Plain<Day>) -> String {
        let day = &day.plain();
        let this_year = self.now.day_in(&self.zone).0.year();
        let form = if day.0.year() == this_year { "%a %-d %b" } else { "%a %-d %b %Y" };
        day.0.strftime(form).to_string()
    }

    /// The day on which a moment falls in the studio.
    #[must_use]
    pub fn day_of(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        self.day(moment.day_in(&self.zone))
    }

    /// A moment as day and time of the studio: `Wed 25 Nov 14:05`.
    #[must_use]
    pub fn moment(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        format!("{} {}", self.day(moment.day_in(&self.zone)), self.time(moment))
    }

    /// A moment with its year, for papers that are kept: `25 Nov 2026 14:05`.
    #[must_use]
    pub fn moment_text(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        format!("{} {}", self.day_text(moment.day_in(&self.zone)), self.time(moment))
    }

    /// The time of day in the studio: `14:05`.
    #[must_use]
    pub fn time(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        self.zone.to_datetime(moment.0).strftime("%H:%M").to_string()
    }

    /// The time of day to the second: `14:05:30`.
    #[must_use]
    pub fn clock(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        self.zone.to_datetime(moment.0).strftime("%H:%M:%S").to_string()
    }

    /// A day as short as a stamp: `25 Nov`.
    #[must_use]
    pub fn stamp(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        self.zone.to_datetime(moment.0).strftime("%-d %b").to_string()
    }

    /// A moment for machines, for the `datetime` attribute.
    #[must_use]
    pub fn machine(&self, moment: impl Plain<Moment>) -> String {
        let moment = &moment.plain();
        moment.0.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
    }

    /// How a due date stands against today: `today`, `in 3 days`, `2 days late`.
    #[must_use]
    pub fn until(&self, day: impl Plain<Day>) -> String {
        let day = &day.plain();
        let today = self.now.day_in(&self.zone);
        let days = (day.0 - today.0).get_days();
        match days {
            0 => "today".to_owned(),
            1 => "tomorrow".to_owned(),
            -1 => "1 day late".to_owned(),
            n if n > 0 => format!("in {n} days"),
            n => format!("{} days late", -n),
        }
    }

    /// Whether a day has passed.
    #[must_use]
    pub fn past(&self, day: impl Plain<Day>) -> bool {
        let day = &day.plain();
        *day < self.now.day_in(&self.zone)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_grouped_from_five_on() {
        assert_eq!(grouped("1234.5"), "1234.5");
        assert_eq!(grouped("12345.67"), "12\u{202f}345.67");
        assert_eq!(grouped("-1234567"), "\u{2212}1\u{202f}234\u{202f}567");
    }
}
