//! What the electricity of a firing costs, by the hour of the week.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::burnout::Burnout;
use super::refusal::{HeatRefusal, within};
use crate::quantity::{Currency, Money, MoneyRefusal};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

/// Minutes of a week; the first is the one after midnight of the day the studio's week begins.
pub const MINUTES_OF_WEEK: u32 = 7 * 24 * 60;

/// A price for a part of the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TariffBand {
    /// First minute of the week it is valid for.
    pub from_minute: u32,
    /// First minute it is no longer valid for.
    pub to_minute: u32,
    /// Price of a kilowatt hour.
    pub price_per_kwh: Decimal,
}

/// Prices for the whole week, without gaps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tariff {
    bands: Vec<TariffBand>,
    currency: Currency,
}

impl Tariff {
    /// Makes a tariff from bands in any order.
    ///
    /// # Refuses
    /// Bands that are empty or overlap, and weeks with a gap.
    pub fn new(mut bands: Vec<TariffBand>, currency: Currency) -> Result<Self, HeatRefusal> {
        bands.sort_by_key(|band| (band.from_minute, band.to_minute));
        let mut end = 0;
        for band in &bands {
            if band.from_minute > end {
                return Err(HeatRefusal::TariffGap { minute: end });
            }
            let misplaced = band.from_minute < end || band.to_minute > MINUTES_OF_WEEK;
            if misplaced || band.to_minute <= band.from_minute {
                return Err(HeatRefusal::TariffOverlap { minute: band.from_minute });
            }
            end = band.to_minute;
        }
        if end < MINUTES_OF_WEEK {
            return Err(HeatRefusal::TariffGap { minute: end });
        }
        Ok(Self { bands, currency })
    }

    /// One price all week.
    #[must_use]
    pub fn flat(price_per_kwh: Decimal, currency: Currency) -> Self {
        let whole = TariffBand { from_minute: 0, to_minute: MINUTES_OF_WEEK, price_per_kwh };
        Self { bands: vec![whole], currency }
    }

    /// The band a minute of the week is in, and how long it still lasts, in minutes.
    fn band_at(&self, minute_of_week: f64) -> (usize, f64) {
        let index = self
            .bands
            .partition_point(|band| f64::from(band.to_minute) <= minute_of_week)
            .min(self.bands.len() - 1);
        (index, f64::from(self.bands[index].to_minute) - minute_of_week)
    }
}

/// The cost of a firing that starts at a minute of the week.
///
/// # Accuracy
/// Energy is counted in whole watt hours for each band, then priced exactly; the sum is not
/// rounded to cents.
///
/// # Refuses
/// A burnout in an ideal kiln, and a start outside the week.
pub fn cost(
    burnout: &Burnout,
    tariff: &Tariff,
    start_minute_of_week: u32,
) -> Result<Worked<Money>, HeatRefusal> {
    let last = f64::from(MINUTES_OF_WEEK - 1);
    let start =
        within("the start", f64::from(start_minute_of_week), 0.0, last, "minutes of the week")?;
    if burnout.kiln_kwh.is_none() {
        return Err(HeatRefusal::NoElectricity);
    }
    let mut kwh = vec![0.0; tariff.bands.len()];
    for (pair, drawn) in burnout.samples.windows(2).zip(&burnout.drawn_kwh) {
        let (mut from, to) = (pair[0].minute.get(), pair[1].minute.get());
        let takes = to - from;
        while to - from > 1.0e-9 {
            let (band, left) = tariff.band_at((start + from) % f64::from(MINUTES_OF_WEEK));
            // A rounding error must not stop the walk at a band's edge.
            let piece = left.max(1.0e-6).min(to - from);
            kwh[band] += drawn * piece / takes;
            from += piece;
        }
    }
    let mut total = Decimal::ZERO;
    let mut working = Working::default();
    for (band, kwh) in tariff.bands.iter().zip(kwh) {
        let energy = Decimal::from_f64(kwh).ok_or(MoneyRefusal::TooLarge)?.round_dp(3);
        if energy.is_zero() {
            continue;
        }
        let part = energy.checked_mul(band.price_per_kwh).ok_or(MoneyRefusal::TooLarge)?;
        total = total.checked_add(part).ok_or(MoneyRefusal::TooLarge)?;
        let unit = tariff.currency.code().to_owned();
        working.step(
            "energy × price",
            vec![
                Figure::exact("energy", energy, "kWh", Source::Computed),
                Figure::exact("price", band.price_per_kwh, format!("{unit}/kWh"), Source::Entered),
                Figure::count(
                    "from minute of the week",
                    i64::from(band.from_minute),
                    "",
                    Source::Entered,
                ),
                Figure::count(
                    "to minute of the week",
                    i64::from(band.to_minute),
                    "",
                    Source::Entered,
                ),
            ],
            Figure::exact("cost in this band", part, unit, Source::Computed),
        );
    }
    Ok(Worked { value: Money::new(total, tariff.currency), working })
}
