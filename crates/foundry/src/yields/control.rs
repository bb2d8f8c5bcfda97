//! Control limits: is a bad lot chance, or has something changed?

use std::f64::consts::FRAC_2_SQRT_PI;

use crate::quantity::Share;
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::YieldRefusal;

/// A lot, such as a pour or a kiln load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lot {
    /// Pieces made.
    pub made: u32,
    /// Pieces failed.
    pub bad: u32,
}

/// How the limits allow for lots that differ more than chance alone explains.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ControlLimits {
    /// Chance alone.
    #[default]
    Binomial,
    /// Widened by the scatter seen from lot to lot.
    Laney,
}

/// A chart of failed shares with its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct PChart {
    /// Failed share of all lots together.
    pub mean: Share,
    /// Scatter from lot to lot against that of chance; 1 when only chance is allowed for.
    pub scatter: f64,
    /// The lots in order.
    pub points: Vec<ControlPoint>,
}

/// A lot on the chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlPoint {
    /// Its failed share.
    pub share: Share,
    /// Lower limit for a lot of this size.
    pub lower: Share,
    /// Upper limit for a lot of this size.
    pub upper: Share,
    /// Whether it lies beyond a limit.
    pub outside: bool,
}

/// Fewer lots than this give no limits.
const LEAST_LOTS: usize = 5;
/// Fewer lots than this give limits with a warning.
const FEW_LOTS: usize = 20;
/// Below this many failures expected in a lot the limits of chance are rough.
const FEW_EXPECTED: f64 = 5.0;

/// Failed shares of lots in the order they were made, with three-sigma limits.
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2, proportions control charts; limits
/// for lots that scatter more: D. B. Laney, Quality Engineering 14 (2002) 531, with the mean
/// moving range of the standardised shares divided by 2/√π = 1.128.
///
/// # Refuses
/// Fewer than five lots, an empty lot, more failed than made.
pub fn p_chart(lots: &[Lot], limits: ControlLimits) -> Result<Worked<PChart>, YieldRefusal> {
    if lots.len() < LEAST_LOTS {
        return Err(YieldRefusal::TooFewLots { lots: lots.len(), least: LEAST_LOTS });
    }
    for (at, lot) in lots.iter().enumerate() {
        if lot.made == 0 {
            return Err(YieldRefusal::NoPieces);
        }
        if lot.bad > lot.made {
            return Err(YieldRefusal::MoreBadThanMade {
                lot: at + 1,
                bad: lot.bad,
                made: lot.made,
            });
        }
    }
    let made: u64 = lots.iter().map(|lot| u64::from(lot.made)).sum();
    let bad: u64 = lots.iter().map(|lot| u64::from(lot.bad)).sum();
    let mean = bad as f64 / made as f64;
    let mut working = Working::default();
    working.step(
        "all failed ÷ all made",
        vec![
            Figure::count("failed", bad as i64, "pieces", Source::MeasuredHere),
            Figure::count("made", made as i64, "pieces", Source::MeasuredHere),
        ],
        Figure::real("p, mean failed share", mean, "", Source::Computed),
    );
    let sigma = |lot: &Lot| (mean * (1.0 - mean) / f64::from(lot.made)).sqrt();
    let scatter = match limits {
        ControlLimits::Binomial => 1.0,
        ControlLimits::Laney => scatter_of(lots, mean, sigma, &mut working),
    };
    let mut points = Vec::new();
    for lot in lots {
        let share = f64::from(lot.bad) / f64::from(lot.made);
        let reach = 3.0 * sigma(lot) * scatter;
        let (lower, upper) = ((mean - reach).max(0.0), (mean + reach).min(1.0));
        points.push(ControlPoint {
            share: Share::new(share)?,
            lower: Share::new(lower)?,
            upper: Share::new(upper)?,
            outside: share < lower || share > upper,
        });
    }
    if let Some(lot) = lots.first() {
        working.step(
            "p ± 3 × √(p(1 − p)/n) × scatter, here for the first lot",
            vec![
                Figure::real("p", mean, "", Source::Computed),
                Figure::count(
                    "n, pieces of the lot",
                    i64::from(lot.made),
                    "pieces",
                    Source::MeasuredHere,
                ),
                Figure::real("scatter", scatter, "", Source::Computed),
            ],
            Figure::real(
                "upper limit",
                (mean + 3.0 * sigma(lot) * scatter).min(1.0),
                "",
                Source::Published(
                    "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2".into(),
                ),
            ),
        );
    }
    if lots.len() < FEW_LOTS {
        working.warn(format!(
            "Only {} lots: the limits are rough until there are about 20.",
            lots.len()
        ));
    }
    if lots.iter().any(|lot| f64::from(lot.made) * mean < FEW_EXPECTED) {
        working.warn("Fewer than five failures are expected in some lots, so the limits are rough there; a single bad piece can lie outside by chance.");
    }
    Ok(Worked { value: PChart { mean: Share::new(mean)?, scatter, points }, working })
}

/// Mean moving range of the standardised shares over its expectation.
fn scatter_of(lots: &[Lot], mean: f64, sigma: impl Fn(&Lot) -> f64, working: &mut Working) -> f64 {
    if mean <= 0.0 || mean >= 1.0 {
        return 1.0;
    }
    let standardised: Vec<f64> = lots
        .iter()
        .map(|lot| (f64::from(lot.bad) / f64::from(lot.made) - mean) / sigma(lot))
        .collect();
    let ranges = standardised.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let mean_range = ranges.sum::<f64>() / (standardised.len() - 1) as f64;
    let scatter = mean_range / FRAC_2_SQRT_PI;
    working.step(
        "mean difference of neighbouring standardised shares ÷ (2/√π)",
        vec![Figure::real("mean difference", mean_range, "", Source::Computed)],
        Figure::real(
            "scatter from lot to lot",
            scatter,
            "",
            Source::Published("D. B. Laney, Quality Engineering 14 (2002) 531".into()),
        ),
    );
    scatter
}
