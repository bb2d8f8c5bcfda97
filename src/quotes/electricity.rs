//! What a kilowatt hour costs in a quote: a tariff's mean over the hours in which kilns fired lately.

use std::collections::BTreeMap;

use foundry::heat::{MINUTES_OF_WEEK, TariffBand};
use foundry::source::Source;
use foundry::working::Working;
use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use sqlx::PgPool;

use crate::clock::{Day, Moment};
use crate::prices::DayPrice;
use crate::studio::Settings;
use crate::tariffs::{self, week_minute};

/// So many firings tell at which hours the studio fires.
const FIRINGS: i64 = 30;

/// The price of a kilowatt hour by the tariff of a day; none where no tariff is noted, so that the
/// price of electricity stands.
pub(super) async fn by_tariff(
    pool: &PgPool,
    settings: &Settings,
    day: Day,
) -> Result<Option<DayPrice>, sqlx::Error> {
    let Some(tariff) = tariffs::noted(pool, day).await? else { return Ok(None) };
    if tariff.currency.code() != settings.currency {
        return Ok(None);
    }
    let firings: Vec<(Moment, Moment)> = sqlx::query_as(
        "SELECT started_at, ended_at FROM kiln_loads
         WHERE state = 'ended' AND started_at IS NOT NULL AND ended_at > started_at ORDER BY ended_at DESC LIMIT $1",
    )
    .bind(FIRINGS)
    .fetch_all(pool)
    .await?;
    Ok(mean(&tariff.name, &tariff.bands, &firings, &settings.zone()))
}

/// The mean by minutes of firing, or of the whole week as long as nothing was fired.
fn mean(
    name: &str,
    bands: &[TariffBand],
    firings: &[(Moment, Moment)],
    zone: &TimeZone,
) -> Option<DayPrice> {
    let mut minutes: BTreeMap<Decimal, u64> = BTreeMap::new();
    for (start, end) in firings {
        let lasted = u32::try_from(end.minutes_since(*start)).unwrap_or(0).min(MINUTES_OF_WEEK);
        spread(bands, week_minute(*start, zone), lasted, &mut minutes);
    }
    let over = match firings.len() {
        0 => {
            spread(bands, 0, MINUTES_OF_WEEK, &mut minutes);
            "the whole week, as long as nothing was fired".to_owned()
        }
        1 => "the hours of the last firing".to_owned(),
        n => format!("the hours of the last {n} firings"),
    };
    let all: u64 = minutes.values().sum();
    let mut amount = Decimal::ZERO;
    let mut shares = Vec::new();
    for (price, minutes) in &minutes {
        let share = Decimal::from(*minutes).checked_div(Decimal::from(all))?;
        amount += share.checked_mul(*price)?;
        let percent = (share * Decimal::ONE_HUNDRED).round_dp(1).normalize();
        shares.push(format!("{percent} % at {}", price.normalize()));
    }
    let words = format!("mean of the tariff “{name}” over {over}: {}", shares.join(", "));
    let source = Source::Assumed(words.into());
    Some(DayPrice { amount: amount.round_dp(8), source, working: Working::default() })
}

/// Adds the minutes from a minute of the week on to the prices they fall under.
fn spread(bands: &[TariffBand], start: u32, lasted: u32, minutes: &mut BTreeMap<Decimal, u64>) {
    let end = start + lasted;
    for week in [0, MINUTES_OF_WEEK] {
        for band in bands {
            let (from, to) = (band.from_minute + week, band.to_minute + week);
            let within = to.min(end).saturating_sub(from.max(start));
            if within > 0 {
                *minutes.entry(band.price_per_kwh).or_default() += u64::from(within);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use super::*;

    fn bands() -> Vec<TariffBand> {
        // Nights from 22 to 6 at 0.14, days at 0.30.
        let mut bands = Vec::new();
        for day in 0..7 {
            let from = day * 1440;
            for (a, b, price) in [(0, 360, 14), (360, 1320, 30), (1320, 1440, 14)] {
                let price_per_kwh = Decimal::new(price, 2);
                bands.push(TariffBand {
                    from_minute: from + a,
                    to_minute: from + b,
                    price_per_kwh,
                });
            }
        }
        bands
    }

    fn of(firings: &[(&str, &str)]) -> (String, String) {
        let moment = |text: &str| Moment(text.parse().unwrap());
        let firings: Vec<_> = firings.iter().map(|(a, b)| (moment(a), moment(b))).collect();
        let price = mean("Night", &bands(), &firings, &TimeZone::UTC).unwrap();
        (price.amount.normalize().to_string(), format!("{:?}", price.source))
    }

    /// A week has 56 hours of night: (56 × 0.14 + 112 × 0.30) ÷ 168 = 0.24666667. From 20 to 8 there
    /// are eight hours of night and four of day: 0.19333333.
    #[test]
    fn the_mean_is_by_the_hours_that_were_fired() {
        let (amount, words) = of(&[]);
        assert_eq!(amount, "0.24666667");
        assert!(words.contains("whole week"), "{words}");
        let (amount, words) = of(&[("2026-11-23T20:00:00Z", "2026-11-24T08:00:00Z")]);
        assert_eq!(amount, "0.19333333");
        assert!(words.contains("66.7 % at 0.14, 33.3 % at 0.3"), "{words}");
        // Over the end of the week: Sunday 20 to Monday 8.
        assert_eq!(of(&[("2026-11-29T20:00:00Z", "2026-11-30T08:00:00Z")]).0, "0.19333333");
    }
}
