//! Trials: two ways of working compared, and how many pieces that takes.

use crate::quantity::Share;
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::fisher::Tables;
use super::{Confidence, Fisher, Tally, YieldInterval, YieldRefusal, fisher_exact, wilson};

/// Two ways of working, compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// Yield of the first.
    pub first: YieldInterval,
    /// Yield of the second.
    pub second: YieldInterval,
    /// Fisher's exact test.
    pub fisher: Fisher,
    /// What may be said.
    pub verdict: Verdict,
}

/// What may be said after a trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// With so few pieces no outcome could have shown a difference.
    TooFew {
        /// Equal groups of this size could, if one worked always and the other never.
        at_least_each: u32,
    },
    /// No difference was shown, which does not show that there is none.
    NotShown,
    /// The first is better.
    FirstBetter,
    /// The second is better.
    SecondBetter,
}

/// The pieces of a trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialSize {
    /// Pieces in each group.
    pub each: u32,
    /// The chance that such a trial shows the difference.
    pub power: Share,
}

/// No trial larger than this is planned.
pub const MOST_PIECES_EACH: u32 = 200;

/// Compares two ways of working.
///
/// # Source
/// As [`fisher_exact`] and [`wilson`].
///
/// # Refuses
/// An empty group.
pub fn compare(
    first: Tally,
    second: Tally,
    confidence: Confidence,
) -> Result<Worked<Comparison>, YieldRefusal> {
    let first_yield = wilson(first, confidence)?;
    let second_yield = wilson(second, confidence)?;
    let fisher = fisher_exact(first, second)?;
    let whole = |tally: Tally| u32::try_from(tally.total()).unwrap_or(u32::MAX);
    let clearest =
        fisher_exact(Tally { good: whole(first), bad: 0 }, Tally { good: 0, bad: whole(second) })?;
    let verdict = if clearest.two_sided >= confidence.error() {
        Verdict::TooFew { at_least_each: smallest_trial(confidence) }
    } else if fisher.two_sided >= confidence.error() {
        Verdict::NotShown
    } else if first_yield.value.counted > second_yield.value.counted {
        Verdict::FirstBetter
    } else {
        Verdict::SecondBetter
    };
    let mut working = Working::default();
    working.follow(first_yield.working).follow(second_yield.working);
    let count =
        |name, count: u32| Figure::count(name, i64::from(count), "pieces", Source::MeasuredHere);
    working.step(
        "Fisher's exact test, two-sided: all tables no likelier than this one",
        vec![
            count("first good", first.good),
            count("first bad", first.bad),
            count("second good", second.good),
            count("second bad", second.bad),
        ],
        Figure::real(
            "chance of such a difference if there is none",
            fisher.two_sided,
            "",
            Source::Published("R. A. Fisher, The Design of Experiments, 1935, ch. II".into()),
        ),
    );
    match verdict {
        Verdict::TooFew { at_least_each } => {
            working.warn(format!(
                "Too few pieces to show anything: even the clearest outcome needs {at_least_each} against {at_least_each}."
            ));
        }
        Verdict::NotShown => {
            working.warn(
                "No difference shown. This does not show that there is none; a larger trial may.",
            );
        }
        Verdict::FirstBetter | Verdict::SecondBetter => {
            working.warn(format!(
                "Of many such comparisons, {:.0} in 100 would show a difference where there is none. Make sure nothing else was changed with it.",
                confidence.error() * 100.0
            ));
        }
    }
    let value =
        Comparison { first: first_yield.value, second: second_yield.value, fisher, verdict };
    Ok(Worked { value, working })
}

/// The smallest equal groups in which one working always and the other never would count as shown.
#[must_use]
pub fn smallest_trial(confidence: Confidence) -> u32 {
    (1..MOST_PIECES_EACH)
        .find(|&each| {
            let always = Tally { good: each, bad: 0 };
            let never = Tally { good: 0, bad: each };
            fisher_exact(always, never).is_ok_and(|fisher| fisher.two_sided < confidence.error())
        })
        .unwrap_or(MOST_PIECES_EACH)
}

/// The chance that a trial of equal groups shows a difference between two true yields.
///
/// Exact: every outcome with its binomial chance, Fisher's two-sided test on each.
///
/// # Refuses
/// No pieces, or more than [`MOST_PIECES_EACH`] in a group.
pub fn power_of_trial(
    each: u32,
    first: Share,
    second: Share,
    confidence: Confidence,
) -> Result<Share, YieldRefusal> {
    if each == 0 {
        return Err(YieldRefusal::NoPieces);
    }
    if each > MOST_PIECES_EACH {
        return Err(YieldRefusal::TooMany {
            pieces: u64::from(each),
            most: u64::from(MOST_PIECES_EACH),
        });
    }
    let first_chances = binomial(each, first.get());
    let second_chances = binomial(each, second.get());
    let mut power = 0.0;
    for good in 0..=2 * each {
        let total = u64::from(each);
        let (least, probabilities) = Tables::new(total, total, u64::from(good)).two_sided();
        for (at, probability) in probabilities.iter().enumerate() {
            if *probability < confidence.error() {
                let first_good = least as usize + at;
                power += first_chances[first_good] * second_chances[good as usize - first_good];
            }
        }
    }
    Ok(Share::new(power.clamp(0.0, 1.0))?)
}

/// The smallest equal groups with which a trial shows a difference with the wanted chance.
///
/// The chance rises in steps and may fall a little from one size to the next; this is the first
/// size that reaches it.
///
/// # Refuses
/// Equal yields, or a difference that would take more than [`MOST_PIECES_EACH`] pieces each.
pub fn pieces_for_trial(
    first: Share,
    second: Share,
    confidence: Confidence,
    wanted: Share,
) -> Result<Worked<TrialSize>, YieldRefusal> {
    if first == second {
        return Err(YieldRefusal::SameYields);
    }
    for each in smallest_trial(confidence)..=MOST_PIECES_EACH {
        let power = power_of_trial(each, first, second, confidence)?;
        if power >= wanted {
            let mut working = Working::default();
            working.step(
                "smallest equal groups whose chance of showing the difference reaches the wanted one",
                vec![
                    Figure::real("first yield", first.percent(), "%", Source::Entered),
                    Figure::real("second yield", second.percent(), "%", Source::Entered),
                    Figure::real("wanted chance", wanted.percent(), "%", Source::Entered),
                    Figure::real("chance reached", power.percent(), "%", Source::Computed),
                ],
                Figure::count("pieces in each group", i64::from(each), "pieces", Source::Computed),
            );
            working.warn("Decide on the number before the trial and stop at it; stopping as soon as a difference shows claims too much.");
            return Ok(Worked { value: TrialSize { each, power }, working });
        }
    }
    Err(YieldRefusal::TooSmallADifference { most: MOST_PIECES_EACH })
}

/// Chances of 0 to `trials` successes.
fn binomial(trials: u32, success: f64) -> Vec<f64> {
    let mut chances = vec![1.0];
    // One trial more at a time: no powers that underflow, no factorials.
    for _ in 0..trials {
        let mut next = vec![0.0; chances.len() + 1];
        for (successes, chance) in chances.iter().enumerate() {
            next[successes] += chance * (1.0 - success);
            next[successes + 1] += chance * success;
        }
        chances = next;
    }
    chances
}
