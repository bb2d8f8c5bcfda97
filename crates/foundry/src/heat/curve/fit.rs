//! A kiln's power and loss from a measured firing.

use super::compare::best_start;
use super::measured::MeasuredCurve;
use crate::heat::body::{FlaskBody, Grid};
use crate::heat::burnout::{Burnout, simulate};
use crate::heat::power::{Kiln, PoweredKiln};
use crate::heat::programme::Programme;
use crate::heat::refusal::HeatRefusal;
use crate::quantity::{Kelvins, Minutes};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

/// A kiln as a measured firing shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct KilnFit {
    /// The kiln with fitted power and loss; all else as given.
    pub kiln: PoweredKiln,
    /// Fitted power over the power given.
    pub power_scale: f64,
    /// Fitted loss over the loss given.
    pub loss_scale: f64,
    /// Root mean square difference of the kiln's curve before.
    pub error_before: Kelvins,
    /// And after.
    pub error_after: Kelvins,
    /// Where the programme begins in the log, in minutes of the log.
    pub starts_at: Minutes,
}

/// The kiln's curve needs no fine flask, but its corners need short steps.
const COARSE: Grid = Grid { radial: 8, axial: 8, step: Minutes::of(2.0), sample: Minutes::of(1.0) };
/// The curves are compared once in so many minutes.
const EVERY_MIN: f64 = 5.0;
/// Rounds of the fit before it is given up.
const MOST_ROUNDS: usize = 40;
/// The fit has settled when both scales change by less than this part.
const SETTLED: f64 = 1.0e-3;
/// Or when the mean square falls by less than this part.
const NO_GAIN: f64 = 1.0e-4;
/// The step by which the curve's answer to a scale is probed.
const PROBE: f64 = 0.01;
/// A firing says nothing of a scale when 10 % of it move the curve by less than this, K.
const LEAST_ANSWER_K: f64 = 0.5;
/// Scales outside these are no kiln of the kind described.
const WIDEST: f64 = 5.0;
/// Scales tried before the first step. A kiln given more power than it has follows every ramp, and
/// from there no small step shows how much it lacks.
const POWERS: [f64; 5] = [1.0, 0.8, 0.65, 0.5, 1.25];
const LOSSES: [f64; 3] = [1.0, 0.7, 1.4];

/// Fits a kiln's power and loss to a measured firing by least squares on its temperature
/// (Gauss and Newton's method with Marquardt's damping, on the logarithms of both scales).
///
/// The firing must show both: a ramp that the kiln could not follow shows the power, a free fall
/// the loss. `starts_at` is where the programme begins in the log; `None` finds it.
///
/// # Source
/// D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431.
///
/// # Refuses
/// Logs that cover less than half of the programme, firings that say nothing of power or loss, and
/// fits that do not settle.
pub fn fit_kiln(
    curve: &MeasuredCurve,
    programme: &Programme,
    body: &FlaskBody,
    kiln: &PoweredKiln,
    flasks: u32,
    starts_at: Option<Minutes>,
) -> Result<Worked<KilnFit>, HeatRefusal> {
    let starts_at = starts_at.unwrap_or_else(|| best_start(curve, programme));
    let mut fit = Fit { curve, programme, body, kiln, flasks, starts_at, until: programme.total() };
    // A kiln that makes its programme wait is compared until it has come to its end.
    fit.until = fit.until.max(fit.run([0.0, 0.0])?.total);
    let given = fit.off([0.0, 0.0])?;
    let (mut at, mut off) = fit.begin(&given);
    let covered = off.len() as f64 * EVERY_MIN / fit.until.get();
    if covered < 0.5 {
        return Err(HeatRefusal::OutOfRange {
            what: "the part of the programme that the log covers",
            least: 0.5,
            greatest: 1.0,
            given: covered,
            unit: "",
        });
    }
    let before = mean_square(&given);
    let mut damping = 1.0e-3;
    let mut settled = false;
    for _ in 0..MOST_ROUNDS {
        let answers = [fit.answer(at, &off, 0)?, fit.answer(at, &off, 1)?];
        let (normal, slope) = normal_equations(&answers, &off);
        let mut taken = None;
        // A step that makes things worse is shortened until it does not.
        for _ in 0..12 {
            let step = solve(normal, slope, damping);
            let next = [at[0] + step[0], at[1] + step[1]];
            let inside = next.iter().all(|scale| scale.abs() < WIDEST.ln());
            if inside {
                if let Ok(tried) = fit.off(next) {
                    if tried.len() == off.len() && mean_square(&tried) <= mean_square(&off) {
                        taken = Some((next, tried, step));
                        damping = f64::max(damping / 5.0, 1.0e-9);
                        break;
                    }
                }
            }
            damping *= 5.0;
        }
        let Some((next, tried, step)) = taken else {
            // No step is better: settled if the slope is flat, given up below if not.
            settled = true;
            break;
        };
        let gained = 1.0 - mean_square(&tried) / mean_square(&off).max(f64::MIN_POSITIVE);
        (at, off) = (next, tried);
        if step.iter().all(|part| part.abs() < SETTLED) || gained < NO_GAIN {
            settled = true;
            break;
        }
    }
    if !settled {
        return Err(HeatRefusal::FitDidNotSettle);
    }
    fit.check_answers(at, &off)?;
    let (power_scale, loss_scale) = (at[0].exp(), at[1].exp());
    let value = KilnFit {
        kiln: fit.scaled(at),
        power_scale,
        loss_scale,
        error_before: Kelvins::of(before.sqrt()),
        error_after: Kelvins::of(mean_square(&off).sqrt()),
        starts_at,
    };
    let working = working(kiln, &value);
    Ok(Worked { value, working })
}

struct Fit<'a> {
    curve: &'a MeasuredCurve,
    programme: &'a Programme,
    body: &'a FlaskBody,
    kiln: &'a PoweredKiln,
    flasks: u32,
    starts_at: Minutes,
    until: Minutes,
}

impl Fit<'_> {
    fn run(&self, at: [f64; 2]) -> Result<Burnout, HeatRefusal> {
        let powered = Kiln::Powered { kiln: self.scaled(at), flasks: self.flasks };
        simulate(self.body, self.programme, &powered, &COARSE)
    }

    /// The best of a few scales to begin from, and the difference there.
    fn begin(&self, given: &[f64]) -> ([f64; 2], Vec<f64>) {
        let mut best = ([0.0, 0.0], given.to_vec());
        for power in POWERS {
            for loss in LOSSES {
                let at = [power.ln(), loss.ln()];
                // A kiln that cannot reach its programme at all is no start.
                let Ok(off) = self.off(at) else { continue };
                if off.len() == given.len() && mean_square(&off) < mean_square(&best.1) {
                    best = (at, off);
                }
            }
        }
        best
    }

    /// Refuses a firing that is the same whatever the power or the loss, or in which one does what
    /// the other does.
    fn check_answers(&self, at: [f64; 2], off: &[f64]) -> Result<(), HeatRefusal> {
        let answers = [self.answer(at, off, 0)?, self.answer(at, off, 1)?];
        let ([power, both, loss], _) = normal_equations(&answers, off);
        let alone = loss - both * both / power.max(1.0e-30);
        let count = off.len().max(1) as f64;
        for (square, what) in [(power, "power"), (loss, "loss"), (alone, "loss")] {
            if 0.1 * (square.max(0.0) / count).sqrt() < LEAST_ANSWER_K {
                return Err(HeatRefusal::FiringSaysNothing { what });
            }
        }
        Ok(())
    }

    fn scaled(&self, at: [f64; 2]) -> PoweredKiln {
        PoweredKiln {
            power_w: self.kiln.power_w * at[0].exp(),
            loss_w_k: self.kiln.loss_w_k * at[1].exp(),
            ..*self.kiln
        }
    }

    /// Computed less measured, K, once every five minutes.
    fn off(&self, at: [f64; 2]) -> Result<Vec<f64>, HeatRefusal> {
        let run = self.run(at)?;
        let count = (self.until.get() / EVERY_MIN) as usize;
        Ok((0..=count)
            .filter_map(|n| {
                let minute = Minutes::of(n as f64 * EVERY_MIN);
                let measured = self.curve.at(minute + self.starts_at)?;
                Some((run.at(minute)?.kiln - measured).get())
            })
            .collect())
    }

    /// How the difference answers to a scale, K for a whole unit of its logarithm.
    fn answer(&self, at: [f64; 2], off: &[f64], index: usize) -> Result<Vec<f64>, HeatRefusal> {
        let mut probed = at;
        probed[index] += PROBE;
        let moved = self.off(probed)?;
        Ok(moved.iter().zip(off).map(|(moved, off)| (moved - off) / PROBE).collect())
    }
}

fn mean_square(values: &[f64]) -> f64 {
    values.iter().map(|value| value * value).sum::<f64>() / values.len().max(1) as f64
}

/// The matrix `JᵀJ` as its three entries, and `Jᵀ` times the difference.
fn normal_equations(answers: &[Vec<f64>; 2], off: &[f64]) -> ([f64; 3], [f64; 2]) {
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let [a, b] = answers;
    ([dot(a, a), dot(a, b), dot(b, b)], [dot(a, off), dot(b, off)])
}

fn solve([aa, ab, bb]: [f64; 3], [a, b]: [f64; 2], damping: f64) -> [f64; 2] {
    let (aa, bb) = (aa * (1.0 + damping) + 1.0e-9, bb * (1.0 + damping) + 1.0e-9);
    let determinant = aa * bb - ab * ab;
    if determinant.abs() < 1.0e-30 {
        return [0.0, 0.0];
    }
    [-(bb * a - ab * b) / determinant, -(aa * b - ab * a) / determinant]
}

fn working(given: &PoweredKiln, fit: &KilnFit) -> Working {
    let mut working = Working::default();
    working.step(
        "power × scale, so that computed and measured kiln differ least",
        vec![
            Figure::real("power", given.power_w, "W", Source::Entered),
            Figure::real("scale", fit.power_scale, "", Source::MeasuredHere),
        ],
        Figure::real("fitted power", fit.kiln.power_w, "W", Source::Computed),
    );
    working.step(
        "loss × scale, so that computed and measured kiln differ least",
        vec![
            Figure::real("loss", given.loss_w_k, "W/K", Source::Entered),
            Figure::real("scale", fit.loss_scale, "", Source::MeasuredHere),
        ],
        Figure::real("fitted loss", fit.kiln.loss_w_k, "W/K", Source::Computed),
    );
    working.step(
        "root of the mean square of computed − measured, after the fit",
        vec![Figure::real("before", fit.error_before.get(), "K", Source::Computed)],
        Figure::real("after", fit.error_after.get(), "K", Source::Computed),
    );
    working.warn(
        "Lining and load are taken as given; an error in them goes into power and loss. A second \
         firing with another load shows it.",
    );
    working
}
