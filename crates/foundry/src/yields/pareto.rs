//! Causes of failure by how often they occur.

use std::borrow::Cow;

use crate::quantity::Share;
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::YieldRefusal;

/// A cause and its part in all failures.
#[derive(Debug, Clone, PartialEq)]
pub struct CauseRow {
    /// The cause.
    pub cause: Cow<'static, str>,
    /// How often it occurred.
    pub count: u32,
    /// Its share of all failures.
    pub share: Share,
    /// The share of this and all more frequent causes.
    pub cumulative: Share,
    /// Whether it belongs to the few causes that make up four fifths of all failures.
    pub among_the_vital_few: bool,
}

/// The vital few reach this share of all failures.
const VITAL: f64 = 0.8;

/// Causes, the most frequent first, equal ones by name.
///
/// # Source
/// The rule of the vital few: J. M. Juran, Quality Control Handbook, 1951 (from memory). The
/// cut at four fifths is a habit.
///
/// # Refuses
/// No failures.
pub fn pareto(causes: &[(Cow<'static, str>, u32)]) -> Result<Worked<Vec<CauseRow>>, YieldRefusal> {
    let all: u64 = causes.iter().map(|cause| u64::from(cause.1)).sum();
    if all == 0 {
        return Err(YieldRefusal::NoPieces);
    }
    let mut sorted: Vec<&(Cow<'static, str>, u32)> =
        causes.iter().filter(|cause| cause.1 > 0).collect();
    sorted.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let mut working = Working::default();
    let mut rows = Vec::new();
    let mut before = 0_u64;
    for (cause, count) in sorted {
        let until = before + u64::from(*count);
        let share = f64::from(*count) / all as f64;
        let cumulative = until as f64 / all as f64;
        working.step(
            "count ÷ all failures × 100",
            vec![
                Figure::count(cause.clone(), i64::from(*count), "times", Source::MeasuredHere),
                Figure::count("all failures", all as i64, "times", Source::MeasuredHere),
            ],
            Figure::real(format!("share of {cause}"), share * 100.0, "%", Source::Computed),
        );
        rows.push(CauseRow {
            cause: cause.clone(),
            count: *count,
            share: Share::new(share)?,
            cumulative: Share::new(cumulative)?,
            among_the_vital_few: (before as f64) < VITAL * all as f64,
        });
        before = until;
    }
    Ok(Worked { value: rows, working })
}
