//! Where the limit between what comes out and what does not lies, learned from castings.

use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::{Confidence, YieldRefusal};

/// A casting: how hard it was, in any measure that grows with the risk, and whether it came out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// How hard it was.
    pub margin: f64,
    /// Whether it came out.
    pub good: bool,
}

/// A margin, with the interval in which the true one may lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The best guess.
    pub at: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// How the chance falls with the margin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitFit {
    /// Log odds that a casting comes out at a margin of nothing.
    pub intercept: f64,
    /// What they change by for one more of the margin; below nothing.
    pub slope: f64,
    /// Up to here nine of ten come out.
    pub nine_of_ten: Limit,
    /// Here half of them do.
    pub half: Limit,
    /// From here on one of ten does.
    pub one_of_ten: Limit,
}

/// What castings tell of the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LimitSeen {
    /// Good and failed ones overlap, and the chance falls between them.
    Fitted(LimitFit),
    /// No failed one was easier than any good one: the limit lies between them.
    Apart {
        /// The hardest that came out.
        good_to: f64,
        /// The easiest that did not.
        bad_from: f64,
    },
}

impl LimitFit {
    /// The chance that a casting of a margin comes out.
    #[must_use]
    pub fn chance(&self, margin: f64) -> f64 {
        chance(self.intercept + self.slope * margin)
    }
}

/// Of fewer castings no limit is told.
pub const LEAST_CASTINGS: usize = 20;

/// Of fewer that failed, or that came out, no limit is told: with less than five events for each
/// variable fits go astray (E. Vittinghoff and C. E. McCulloch, American Journal of Epidemiology
/// 165 (2007) 710; from memory).
pub const LEAST_OF_EITHER: usize = 5;

const MOST_STEPS: usize = 200;

/// By so much a likelihood may be wrong: a smaller loss is no reason to take a smaller step.
const ROUNDING: f64 = 1e-11;

/// Log odds of nine in ten.
const NINE_OF_TEN: f64 = 2.197_224_577_336_219;

/// Fits the limit to castings.
///
/// Logistic regression by greatest likelihood; the interval of a limit ends where the likelihood,
/// the limit held there, has fallen by half of the chi-squared quantile.
///
/// # Source
/// D. R. Cox, J. R. Stat. Soc. B 20 (1958) 215; the interval by profile likelihood as in D. J.
/// Venzon and S. H. Moolgavkar, Applied Statistics 37 (1988) 87 (both from memory).
///
/// # Accuracy
/// Castings of one flask share its fate, which the intervals do not know: they are then too narrow.
///
/// # Refuses
/// Margins that are no numbers; fewer castings than [`LEAST_CASTINGS`] or of either kind than
/// [`LEAST_OF_EITHER`]; castings whose margin tells nothing, or the contrary.
pub fn fit_limit(
    outcomes: &[Outcome],
    confidence: Confidence,
) -> Result<Worked<LimitSeen>, YieldRefusal> {
    if let Some(at) = outcomes.iter().position(|outcome| !outcome.margin.is_finite()) {
        return Err(YieldRefusal::NotFinite { at: at + 1 });
    }
    let of = |good: bool| outcomes.iter().filter(move |o| o.good == good).map(|o| o.margin);
    let (good, bad) = (of(true).count(), of(false).count());
    if outcomes.len() < LEAST_CASTINGS || good.min(bad) < LEAST_OF_EITHER {
        return Err(YieldRefusal::TooFewForALimit { good, bad });
    }
    let mut working = Working::default();
    let count = |name: &'static str, n: usize| {
        Figure::count(name, i64::try_from(n).unwrap_or(i64::MAX), "", Source::MeasuredHere)
    };
    let hardest_good = of(true).fold(f64::MIN, f64::max);
    let easiest_bad = of(false).fold(f64::MAX, f64::min);
    // Those that came out were all harder: what is measured tells the contrary, or nothing.
    if of(true).fold(f64::MAX, f64::min) >= of(false).fold(f64::MIN, f64::max) {
        return Err(YieldRefusal::MarginTellsNothing);
    }
    if hardest_good <= easiest_bad {
        working.step(
            "all that came out were easier than all that did not",
            vec![
                count("came out", good),
                count("did not", bad),
                Figure::real("the hardest that came out", hardest_good, "", Source::MeasuredHere),
            ],
            Figure::real("the easiest that did not", easiest_bad, "", Source::MeasuredHere),
        );
        working
            .warn("Nothing was cast between the two, so how the chance falls there is not known.");
        let value = LimitSeen::Apart { good_to: hardest_good, bad_from: easiest_bad };
        return Ok(Worked { value, working });
    }
    let sample = Sample::of(outcomes)?;
    let (intercept, slope) = sample.fit()?;
    let reached = sample.log_likelihood(intercept, slope);
    let drop = confidence.z().powi(2) / 2.0;
    // Without the margin everybody has the same chance, and that must fit clearly worse.
    let same = (good as f64 / bad as f64).ln();
    if slope >= 0.0 || reached - sample.log_likelihood(same, 0.0) <= drop {
        return Err(YieldRefusal::MarginTellsNothing);
    }
    let limit = |odds: f64| -> Result<Limit, YieldRefusal> {
        let at = (odds - intercept) / slope;
        let fallen = |limit: f64| reached - sample.profile(limit, odds, slope) - drop;
        let (low, high) = (crossing(at, -1.0, fallen)?, crossing(at, 1.0, fallen)?);
        Ok(Limit {
            at: sample.unscaled(at),
            low: sample.unscaled(low),
            high: sample.unscaled(high),
        })
    };
    let fit = LimitFit {
        intercept: intercept - slope * sample.mean / sample.spread,
        slope: slope / sample.spread,
        nine_of_ten: limit(NINE_OF_TEN)?,
        half: limit(0.0)?,
        one_of_ten: limit(-NINE_OF_TEN)?,
    };
    let computed = |name: &'static str, value: f64| Figure::real(name, value, "", Source::Computed);
    working.step(
        "a and b of ln(chance ÷ (1 − chance)) = a + b × margin by greatest likelihood",
        vec![count("came out", good), count("did not", bad), computed("a", fit.intercept)],
        computed("b", fit.slope),
    );
    for (name, odds, limit) in [
        ("nine of ten come out up to", NINE_OF_TEN, fit.nine_of_ten),
        ("one of ten comes out from", -NINE_OF_TEN, fit.one_of_ten),
    ] {
        working.step(
            "(log odds − a) ÷ b",
            vec![
                computed("log odds", odds),
                computed("the true one lies above", limit.low),
                computed("the true one lies below", limit.high),
            ],
            computed(name, limit.at),
        );
    }
    working.warn("Castings of one flask share its fate: where many came from few flasks the true limit may lie outside.");
    Ok(Worked { value: LimitSeen::Fitted(fit), working })
}

fn chance(odds: f64) -> f64 {
    1.0 / (1.0 + (-odds).exp())
}

/// The castings, their margins moved and stretched to a mean of 0 and a spread of 1, so that steps
/// are of one size whatever the margin is measured in.
struct Sample {
    scaled: Vec<(f64, bool)>,
    mean: f64,
    spread: f64,
}

impl Sample {
    fn of(outcomes: &[Outcome]) -> Result<Self, YieldRefusal> {
        let n = outcomes.len() as f64;
        let mean = outcomes.iter().map(|o| o.margin).sum::<f64>() / n;
        let spread = (outcomes.iter().map(|o| (o.margin - mean).powi(2)).sum::<f64>() / n).sqrt();
        if !spread.is_finite() || spread <= 0.0 {
            return Err(YieldRefusal::MarginTellsNothing);
        }
        let scaled = outcomes.iter().map(|o| ((o.margin - mean) / spread, o.good)).collect();
        Ok(Self { scaled, mean, spread })
    }

    fn unscaled(&self, margin: f64) -> f64 {
        self.mean + self.spread * margin
    }

    fn log_likelihood(&self, intercept: f64, slope: f64) -> f64 {
        self.scaled
            .iter()
            .map(|(x, good)| {
                let odds = intercept + slope * x;
                // ln(1 + e^odds) without overflow.
                let odds = if *good { -odds } else { odds };
                -(odds.max(0.0) + (-odds.abs()).exp().ln_1p())
            })
            .sum()
    }

    /// Newton's steps, halved while they make it worse: the likelihood is concave.
    fn fit(&self) -> Result<(f64, f64), YieldRefusal> {
        let (mut a, mut b) = (0.0, 0.0);
        for _ in 0..MOST_STEPS {
            let (mut da, mut db, mut aa, mut ab, mut bb) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (x, good) in &self.scaled {
                let p = chance(a + b * x);
                let (miss, weight) = (f64::from(*good) - p, p * (1.0 - p));
                da += miss;
                db += miss * x;
                aa += weight;
                ab += weight * x;
                bb += weight * x * x;
            }
            if da.abs().max(db.abs()) < 1e-10 {
                return Ok((a, b));
            }
            let determinant = aa * bb - ab * ab;
            if determinant <= f64::MIN_POSITIVE {
                break;
            }
            let (step_a, step_b) =
                ((bb * da - ab * db) / determinant, (aa * db - ab * da) / determinant);
            let before = self.log_likelihood(a, b) - ROUNDING;
            let mut share = 1.0;
            while self.log_likelihood(a + share * step_a, b + share * step_b) < before
                && share > 1e-9
            {
                share /= 2.0;
            }
            (a, b) = (a + share * step_a, b + share * step_b);
        }
        // Only where the good ones are all harder than the failed ones has it no greatest value.
        Err(YieldRefusal::MarginTellsNothing)
    }

    /// The greatest likelihood with the log odds held at a limit, by the same steps from a slope.
    fn profile(&self, limit: f64, odds: f64, start: f64) -> f64 {
        let reached = |slope: f64| self.log_likelihood(odds - slope * limit, slope);
        let (mut slope, mut best) = (start, reached(start));
        for _ in 0..MOST_STEPS {
            let (mut rises, mut bends) = (0.0, 0.0);
            for (x, good) in &self.scaled {
                let (away, p) = (x - limit, chance(odds + slope * (x - limit)));
                rises += (f64::from(*good) - p) * away;
                bends += p * (1.0 - p) * away * away;
            }
            if rises.abs() < 1e-7 || bends <= f64::MIN_POSITIVE {
                break;
            }
            let mut step = rises / bends;
            let mut next = reached(slope + step);
            while next < best - ROUNDING && step.abs() > 1e-12 {
                step /= 2.0;
                next = reached(slope + step);
            }
            (slope, best) = (slope + step, next.max(best));
        }
        best
    }
}

/// Where a function that is below nothing at `from` rises through nothing, one way from there.
fn crossing(from: f64, way: f64, value: impl Fn(f64) -> f64) -> Result<f64, YieldRefusal> {
    let mut far = 0.25;
    while value(from + way * far) < 0.0 {
        far *= 2.0;
        if far > 1e9 {
            return Err(YieldRefusal::MarginTellsNothing);
        }
    }
    // False position, the end that stays counted half (M. Dowell and P. Jarratt, BIT 11 (1971) 168).
    let (mut near, mut beyond) = (0.0, far);
    let (mut below, mut above) = (value(from), value(from + way * far));
    let mut stayed = 0;
    while beyond - near > 1e-9 * far {
        let next = (near * above - beyond * below) / (above - below);
        let reached = value(from + way * next);
        if reached.abs() < 1e-9 {
            return Ok(from + way * next);
        }
        if reached < 0.0 {
            (near, below) = (next, reached);
            above *= if stayed < 0 { 0.5 } else { 1.0 };
            stayed = -1;
        } else {
            (beyond, above) = (next, reached);
            below *= if stayed > 0 { 0.5 } else { 1.0 };
            stayed = 1;
        }
    }
    Ok(from + way * (near + beyond) / 2.0)
}
