//! A yield with the interval in which the true one may lie.

use crate::quantity::Share;
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::{Confidence, Tally, YieldRefusal};

/// A yield as counted, and the interval of the true one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YieldInterval {
    /// Good pieces of all counted.
    pub counted: Share,
    /// Lower end.
    pub low: Share,
    /// Upper end.
    pub high: Share,
}

/// Fewer pieces than this are shown with a warning.
const FEW: u64 = 10;

/// The Wilson score interval of a yield, without continuity correction.
///
/// # Source
/// E. B. Wilson, Journal of the American Statistical Association 22 (1927) 209; recommended by
/// R. G. Newcombe, Statistics in Medicine 17 (1998) 857, as method 3.
///
/// # Accuracy
/// To 1e-6 against Newcombe's table and an outside program.
///
/// # Refuses
/// No pieces.
pub fn wilson(tally: Tally, confidence: Confidence) -> Result<Worked<YieldInterval>, YieldRefusal> {
    let total = tally.total();
    if total == 0 {
        return Err(YieldRefusal::NoPieces);
    }
    let n = total as f64;
    let counted = f64::from(tally.good) / n;
    let z = confidence.z();
    let centre = counted + z * z / (2.0 * n);
    let half_width = z * (counted * (1.0 - counted) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    // At none or all the end is exactly 0 or 1; rounding must not push it past.
    let low = if tally.good == 0 { 0.0 } else { ((centre - half_width) / scale).clamp(0.0, 1.0) };
    let high = if tally.bad == 0 { 1.0 } else { ((centre + half_width) / scale).clamp(0.0, 1.0) };
    let mut working = Working::default();
    let good = || Figure::count("good", i64::from(tally.good), "pieces", Source::MeasuredHere);
    let all = || Figure::count("n, all counted", total as i64, "pieces", Source::MeasuredHere);
    working.step(
        "good ÷ n",
        vec![good(), all()],
        Figure::real("p, yield as counted", counted, "", Source::Computed),
    );
    let wilson_source = Source::Published("E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209".into());
    for (sign, name, end) in [('−', "lower end", low), ('+', "upper end", high)] {
        working.step(
            format!("(p + z²/2n {sign} z·√(p(1 − p)/n + z²/4n²)) ÷ (1 + z²/n)"),
            vec![
                Figure::real("p", counted, "", Source::Computed),
                all(),
                Figure::real(
                    format!("z for {} %", confidence.percent()),
                    z,
                    "",
                    wilson_source.clone(),
                ),
            ],
            Figure::real(name, end, "", Source::Computed),
        );
    }
    if total < FEW {
        working.warn(format!(
            "Only {total} pieces: the true yield may lie anywhere between {:.0} and {:.0} %.",
            low * 100.0,
            high * 100.0
        ));
    }
    let value = YieldInterval {
        counted: Share::new(counted)?,
        low: Share::new(low)?,
        high: Share::new(high)?,
    };
    Ok(Worked { value, working })
}
