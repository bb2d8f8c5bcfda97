//! Electricity by the hour, beside the plan.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use crate::settings::shown_time;
use crate::tariffs::InForce;
use crate::web::Show;

const DAY: i64 = 1440;
const WEEK: i64 = 7 * DAY;

/// The prices of a week, as they are drawn and told.
pub(super) struct Priced {
    pub(super) in_force: InForce,
    /// Minutes of the week from and to, and the price, of hours that are dearer than the cheapest.
    dear: Vec<(i64, i64, Decimal)>,
    show: Show,
}

impl Priced {
    pub(super) fn new(in_force: InForce, show: &Show) -> Self {
        let cheapest = in_force.bands.iter().map(|band| band.price_per_kwh).min();
        let dear = in_force
            .bands
            .iter()
            .filter(|band| Some(band.price_per_kwh) != cheapest)
            .map(|band| {
                (i64::from(band.from_minute), i64::from(band.to_minute), band.price_per_kwh)
            })
            .collect();
        Self { in_force, dear, show: show.clone() }
    }

    fn money(&self, price: Decimal) -> String {
        let code = self.in_force.currency.code();
        format!("{}/kWh", self.show.money_exact_text(price, code))
    }

    /// Dear hours between two minutes of the plan, with their price.
    pub(super) fn dear_between(
        &self,
        from_min: i64,
        to_min: i64,
    ) -> impl Iterator<Item = (i64, i64, String)> {
        (from_min.div_euclid(WEEK)..=to_min.div_euclid(WEEK)).flat_map(move |week| {
            self.dear.iter().filter_map(move |(from, to, price)| {
                let from = (week * WEEK + from).max(from_min);
                let to = (week * WEEK + to).min(to_min);
                (from < to).then(|| (from, to, self.money(*price)))
            })
        })
    }

    /// Prices and their hours in words; none when there is one price all week.
    pub(super) fn words(&self) -> Option<String> {
        if self.dear.is_empty() {
            return None;
        }
        let mut prices: BTreeMap<Decimal, Vec<String>> = BTreeMap::new();
        for (from, to, price) in &self.dear {
            // A band over midnight is told day by day.
            for day in from / DAY..=(to - 1) / DAY {
                let from = (from - day * DAY).max(0);
                let to = (to - day * DAY).min(DAY);
                let hours = if (from, to) == (0, DAY) {
                    "all day".to_owned()
                } else {
                    let time = |minute: i64| shown_time(i32::try_from(minute).unwrap_or(0));
                    format!("{}–{}", time(from), time(to))
                };
                let days = prices.entry(*price).or_insert_with(|| vec![String::new(); 7]);
                let told = &mut days[usize::try_from(day).unwrap_or(0) % 7];
                if !told.is_empty() {
                    told.push_str(" and ");
                }
                told.push_str(&hours);
            }
        }
        let cheapest = self.in_force.bands.iter().map(|band| band.price_per_kwh).min();
        let dear: Vec<String> = prices
            .iter()
            .rev()
            .map(|(price, days)| format!("{} {}", self.money(*price), days_in_words(days)))
            .collect();
        Some(format!(
            "{}; at all other hours {} (tariff “{}”).",
            dear.join("; "),
            self.money(cheapest.unwrap_or_default()),
            self.in_force.name
        ))
    }
}

/// Hours of the seven days, days with the same hours told together.
fn days_in_words(days: &[String]) -> String {
    const NAMES: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
    let mut said: Vec<String> = Vec::new();
    let mut at = 0;
    while at < days.len() {
        let same = days[at..].iter().take_while(|hours| **hours == days[at]).count();
        if !days[at].is_empty() {
            let name = match same {
                7 => "every day".to_owned(),
                1 => NAMES[at].to_owned(),
                _ => format!("{}–{}", NAMES[at], NAMES[at + same - 1]),
            };
            said.push(format!("{name} {}", days[at]));
        }
        at += same;
    }
    said.join(", ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use foundry::heat::{Tariff, TariffBand};
    use foundry::quantity::Currency;

    use super::*;

    fn priced(bands: &[(u32, u32, i64)]) -> Priced {
        let currency = Currency::by_code("EUR").unwrap();
        let bands: Vec<TariffBand> = bands
            .iter()
            .map(|(from_minute, to_minute, cents)| TariffBand {
                from_minute: *from_minute,
                to_minute: *to_minute,
                price_per_kwh: Decimal::new(*cents, 2),
            })
            .collect();
        let show = Show {
            units: crate::web::Units::default(),
            zone: jiff::tz::TimeZone::UTC,
            now: crate::clock::Moment::default(),
        };
        let in_force = InForce {
            name: "Day and night".to_owned(),
            tariff: Tariff::new(bands.clone(), currency).unwrap(),
            bands,
            currency,
        };
        Priced::new(in_force, &show)
    }

    #[test]
    fn dear_hours_are_told_and_drawn_week_after_week() {
        // Dear on Monday from seven to ten in the evening.
        let one = priced(&[(0, 420, 17), (420, 1320, 31), (1320, 10_080, 17)]);
        assert_eq!(
            one.words().unwrap(),
            "0.31\u{a0}EUR/kWh Mon 07:00–22:00; at all other hours 0.17\u{a0}EUR/kWh (tariff “Day and night”)."
        );
        let drawn: Vec<(i64, i64)> =
            one.dear_between(600, 2 * 10_080).map(|(from, to, _)| (from, to)).collect();
        assert_eq!(drawn, [(600, 1320), (10_080 + 420, 10_080 + 1320)]);
    }

    #[test]
    fn the_same_hours_of_days_are_told_once_and_one_price_needs_no_words() {
        let mut bands = Vec::new();
        for day in 0..7 {
            bands.push((day * 1440, day * 1440 + 360, 10));
            bands.push((day * 1440 + 360, day * 1440 + 1440, 20));
        }
        assert!(
            priced(&bands).words().unwrap().starts_with("0.20\u{a0}EUR/kWh every day 06:00–00:00;")
        );
        assert_eq!(priced(&[(0, 10_080, 20)]).words(), None);
    }
}
