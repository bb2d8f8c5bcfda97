//! Hours with a price of their own, as bands of a week, and a firing's cost by them. No SQL.

use foundry::heat::{Burnout, HeatRefusal, MINUTES_OF_WEEK, Tariff, TariffBand, cost};
use foundry::quantity::{Currency, Money};
use foundry::working::Worked;
use jiff::tz::TimeZone;
use rust_decimal::Decimal;

use crate::clock::Moment;

const DAY: i32 = 24 * 60;

/// The days that hours hold on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum Days {
    Every,
    Weekdays,
    Weekend,
    Saturday,
    Sunday,
}

impl Days {
    pub(super) const ALL: [(Self, &'static str, &'static str); 5] = [
        (Self::Every, "every", "every day"),
        (Self::Weekdays, "weekdays", "Monday to Friday"),
        (Self::Weekend, "weekend", "Saturday and Sunday"),
        (Self::Saturday, "saturday", "Saturday"),
        (Self::Sunday, "sunday", "Sunday"),
    ];

    pub(super) fn words(self) -> &'static str {
        Self::ALL.iter().find(|(days, ..)| *days == self).map_or("", |(_, _, words)| words)
    }

    pub(super) fn word(self) -> &'static str {
        Self::ALL.iter().find(|(days, ..)| *days == self).map_or("", |(_, word, _)| word)
    }

    /// Days from Monday, 0 to 6.
    const fn numbers(self) -> std::ops::Range<i32> {
        match self {
            Self::Every => 0..7,
            Self::Weekdays => 0..5,
            Self::Weekend => 5..7,
            Self::Saturday => 5..6,
            Self::Sunday => 6..7,
        }
    }
}

/// Hours with a price of their own.
#[derive(Clone, Copy, Debug, PartialEq, sqlx::FromRow)]
pub(super) struct Hours {
    pub(super) days: Days,
    pub(super) from_min: i32,
    /// Not after the beginning: on the next day.
    pub(super) to_min: i32,
    pub(super) price: Decimal,
}

/// Hours that have two prices: which line of them overlaps an earlier one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Overlap(pub(super) usize);

/// The bands of a week: the base price, and the hours that have their own.
pub(super) fn bands(base: Decimal, hours: &[Hours]) -> Result<Vec<TariffBand>, Overlap> {
    let week = MINUTES_OF_WEEK as i32;
    let mut prices = vec![None; MINUTES_OF_WEEK as usize];
    for (n, one) in hours.iter().enumerate() {
        let end = if one.to_min > one.from_min { one.to_min } else { one.to_min + DAY };
        for day in one.days.numbers() {
            for minute in one.from_min..end {
                let at = (day * DAY + minute).rem_euclid(week) as usize;
                if prices[at].is_some() {
                    return Err(Overlap(n));
                }
                prices[at] = Some(one.price);
            }
        }
    }
    let mut bands: Vec<TariffBand> = Vec::new();
    for (minute, price) in (0_u32..).zip(prices) {
        let price_per_kwh = price.unwrap_or(base);
        match bands.last_mut() {
            Some(band) if band.price_per_kwh == price_per_kwh => band.to_minute = minute + 1,
            _ => {
                bands.push(TariffBand { from_minute: minute, to_minute: minute + 1, price_per_kwh })
            }
        }
    }
    Ok(bands)
}

/// The bands of a week; one when the hours cannot be.
pub(super) fn bands_or_flat(base: Decimal, hours: &[Hours]) -> Vec<TariffBand> {
    bands(base, hours).unwrap_or_else(|_| {
        vec![TariffBand { from_minute: 0, to_minute: MINUTES_OF_WEEK, price_per_kwh: base }]
    })
}

/// A tariff for the whole week; one price all week when the hours cannot be.
pub(super) fn tariff(base: Decimal, hours: &[Hours], currency: Currency) -> Tariff {
    bands(base, hours)
        .ok()
        .and_then(|bands| Tariff::new(bands, currency).ok())
        .unwrap_or_else(|| Tariff::flat(base, currency))
}

/// The minute of the week of a moment in a place, counted from Monday's midnight.
#[must_use]
pub fn week_minute(at: Moment, zone: &TimeZone) -> u32 {
    let wall = zone.to_datetime(at.0);
    let day = i32::from(wall.date().weekday().to_monday_zero_offset());
    let minute = day * DAY + i32::from(wall.hour()) * 60 + i32::from(wall.minute());
    u32::try_from(minute).unwrap_or(0)
}

/// What a firing costs from its start, and when in the week it would cost least.
#[derive(Clone, Debug)]
pub struct Costed {
    /// The cost, with its working.
    pub cost: Worked<Money>,
    /// The cheapest hour to start: minutes of the week, and what it costs then; `None` when the
    /// hour makes no difference.
    pub cheapest: Option<(u32, Money)>,
}

/// The cost of a firing that starts at a minute of the week.
///
/// # Errors
/// What foundry refuses.
pub fn cost_of(burnout: &Burnout, tariff: &Tariff, start: u32) -> Result<Costed, HeatRefusal> {
    let worked = cost(burnout, tariff, start)?;
    let mut cheapest: Option<(u32, Money)> = None;
    let mut dearest = worked.value.amount();
    for hour in 0..7 * 24 {
        let at = hour * 60;
        let there = cost(burnout, tariff, at)?.value;
        dearest = dearest.max(there.amount());
        if cheapest.as_ref().is_none_or(|(_, least)| there.amount() < least.amount()) {
            cheapest = Some((at, there));
        }
    }
    let differs = cheapest.as_ref().is_some_and(|(_, least)| least.amount() < dearest);
    Ok(Costed { cost: worked, cheapest: cheapest.filter(|_| differs) })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;

    fn night() -> Hours {
        Hours { days: Days::Every, from_min: 1320, to_min: 360, price: Decimal::new(14, 2) }
    }

    #[test]
    fn a_night_goes_over_midnight_and_over_the_end_of_the_week() {
        let bands = bands(Decimal::new(30, 2), &[night()]).unwrap();
        // Sunday's night ends on Monday at six: the week begins and ends in it.
        assert_eq!((bands[0].from_minute, bands[0].to_minute), (0, 360));
        assert_eq!((bands[1].from_minute, bands[1].to_minute), (360, 1320));
        assert_eq!(bands.last().unwrap().to_minute, MINUTES_OF_WEEK);
        assert_eq!(bands.len(), 15);
        let eight_hours: u32 = bands
            .iter()
            .filter(|band| band.price_per_kwh == Decimal::new(14, 2))
            .map(|band| band.to_minute - band.from_minute)
            .sum();
        assert_eq!(eight_hours, 7 * 8 * 60);
        Tariff::new(bands, Currency::by_code("EUR").unwrap()).unwrap();
    }

    #[test]
    fn hours_with_two_prices_are_named() {
        let noon = Hours { days: Days::Sunday, from_min: 300, to_min: 720, price: Decimal::ONE };
        assert_eq!(bands(Decimal::ONE, &[night(), noon]), Err(Overlap(1)));
    }

    #[test]
    fn the_minute_of_the_week_is_the_wall_clocks() {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        // Tuesday 2 June 2026, 21:00 UTC is 22:00 in Lisbon.
        let at = Moment("2026-06-02T21:00:00Z".parse().unwrap());
        assert_eq!(week_minute(at, &zone), 1440 + 22 * 60);
    }
}
