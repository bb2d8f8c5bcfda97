//! Hours in which electricity is dear, as the planner weighs them against tardiness.

use foundry::heat::TariffBand;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::json::plan::DearHoursJson;

/// The hours of the week that cost more than the cheapest. An hour of heating in the dearest
/// counts like `most_min` minutes by which a piece is late, in others by their share of the
/// difference; with no minutes at all, prices do not count.
///
/// The tariff of today holds for the whole plan: another one that begins later changes the plan
/// when it begins.
pub(super) fn hours(bands: &[TariffBand], most_min: i64) -> Vec<DearHoursJson> {
    let prices = || bands.iter().map(|band| band.price_per_kwh);
    let (Some(cheapest), Some(dearest)) = (prices().min(), prices().max()) else {
        return Vec::new();
    };
    if most_min == 0 || cheapest == dearest {
        return Vec::new();
    }
    bands
        .iter()
        .filter(|band| band.price_per_kwh > cheapest)
        .map(|band| {
            let share = (band.price_per_kwh - cheapest) / (dearest - cheapest);
            let minutes = (share * Decimal::from(most_min)).round().to_i64();
            DearHoursJson {
                from_min: band.from_minute.into(),
                to_min: band.to_minute.into(),
                minutes_per_hour: minutes.unwrap_or(most_min).max(1),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn band(from_minute: u32, to_minute: u32, cents: i64) -> TariffBand {
        TariffBand { from_minute, to_minute, price_per_kwh: Decimal::new(cents, 2) }
    }

    #[test]
    fn hours_count_by_how_much_dearer_they_are_than_the_cheapest() {
        let bands =
            [band(0, 420, 10), band(420, 1200, 20), band(1200, 1320, 50), band(1320, 10_080, 10)];
        let told = |most| {
            hours(&bands, most)
                .into_iter()
                .map(|one| (one.from_min, one.to_min, one.minutes_per_hour))
                .collect::<Vec<_>>()
        };
        assert_eq!(told(60), [(420, 1200, 15), (1200, 1320, 60)]);
        assert_eq!(told(1), [(420, 1200, 1), (1200, 1320, 1)], "dearer counts something");
        assert_eq!(told(0), []);
        assert_eq!(hours(&[band(0, 10_080, 30)], 60), []);
        assert_eq!(hours(&[], 60), []);
    }
}
