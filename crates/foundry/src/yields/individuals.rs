//! Control limits for single measurements, such as the loss of each pour.

use std::f64::consts::FRAC_2_SQRT_PI;

use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::YieldRefusal;

/// A chart of single values with its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct IndividualsChart {
    /// Mean of all values.
    pub mean: f64,
    /// Mean difference of neighbours.
    pub mean_range: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// For each value in order, whether it lies beyond a limit.
    pub outside: Vec<bool>,
}

/// Fewer values than this give no limits.
const LEAST_VALUES: usize = 5;
/// Fewer values than this give limits with a warning.
const FEW_VALUES: usize = 20;

/// Values in the order they came, with three-sigma limits from their moving range.
///
/// # Units
/// Any; limits are in the unit of the values, which is only printed.
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals control charts:
/// x̄ ± 3·MR̄/1.128, with d₂ = 2/√π for ranges of two.
///
/// # Refuses
/// Fewer than five values, a value that is not finite.
pub fn individuals_chart(
    values: &[f64],
    unit: &'static str,
) -> Result<Worked<IndividualsChart>, YieldRefusal> {
    if values.len() < LEAST_VALUES {
        return Err(YieldRefusal::TooFewLots { lots: values.len(), least: LEAST_VALUES });
    }
    if let Some(at) = values.iter().position(|value| !value.is_finite()) {
        return Err(YieldRefusal::NotFinite { at: at + 1 });
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let ranges = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let mean_range = ranges.sum::<f64>() / (count - 1.0);
    let reach = 3.0 * mean_range / FRAC_2_SQRT_PI;
    let (lower, upper) = (mean - reach, mean + reach);
    let mut working = Working::default();
    let of = Figure::count("values", values.len() as i64, "", Source::MeasuredHere);
    working.step(
        "sum of the values ÷ their number",
        vec![of.clone()],
        Figure::real("mean", mean, unit, Source::Computed),
    );
    working.step(
        "mean difference of neighbouring values",
        vec![of],
        Figure::real("moving range", mean_range, unit, Source::Computed),
    );
    let limit = |name, value| {
        let source = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2";
        Figure::real(name, value, unit, Source::Published(source.into()))
    };
    for (formula, name, value) in [
        ("mean + 3 × moving range ÷ 1.128", "upper limit", upper),
        ("mean − 3 × moving range ÷ 1.128", "lower limit", lower),
    ] {
        let inputs = vec![
            Figure::real("mean", mean, unit, Source::Computed),
            Figure::real("moving range", mean_range, unit, Source::Computed),
        ];
        working.step(formula, inputs, limit(name, value));
    }
    if values.len() < FEW_VALUES {
        working.warn(format!(
            "Only {} values: the limits are rough until there are about 20.",
            values.len()
        ));
    }
    let outside = values.iter().map(|value| *value < lower || *value > upper).collect();
    Ok(Worked { value: IndividualsChart { mean, mean_range, lower, upper, outside }, working })
}
