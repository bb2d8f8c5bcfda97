//! What measurements say about a setting. No SQL, no clock.

use foundry::source::Source;
use foundry::working::{Figure, Worked, Working};
use foundry::yields::{Confidence, LimitSeen, Tally, wilson};

/// Fewer measurements propose nothing: one odd piece would move the median.
pub(super) const LEAST: usize = 8;

/// So many of the latest count; older ones tell of another way of working.
pub(super) const LATEST: i64 = 40;

/// A setting that can learn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub(super) enum What {
    /// Metal lost in melting, as a share of the charge.
    MetalLoss,
    /// Lift, return and wait for a layer of a printer.
    LiftS,
    /// Minutes of finishing for a piece of a design.
    FinishingMinutes,
    /// Linear contraction of an alloy from mould to metal.
    Shrinkage,
    /// The chance that a verdict on filling or feeding is taken to mean.
    Chance,
    /// Where the limit of such a verdict lies.
    Limit,
}

impl What {
    pub(super) const ALL: [Self; 6] = [
        Self::MetalLoss,
        Self::LiftS,
        Self::FinishingMinutes,
        Self::Shrinkage,
        Self::Chance,
        Self::Limit,
    ];

    /// The word in forms and in the database.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::MetalLoss => "metal_loss",
            Self::LiftS => "lift_s",
            Self::FinishingMinutes => "finishing_minutes",
            Self::Shrinkage => "shrinkage",
            Self::Chance => "chance",
            Self::Limit => "limit",
        }
    }

    /// What a person reads, before the name of the thing it is set for.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::MetalLoss => "Metal lost in melting",
            Self::LiftS => "Lift, return and wait",
            Self::FinishingMinutes => "Finishing of a piece",
            Self::Shrinkage => "Contraction in casting",
            Self::Chance => "Chance that it comes out",
            Self::Limit => "Limit",
        }
    }

    /// Where it is used.
    pub(super) const fn used(self) -> &'static str {
        match self {
            Self::MetalLoss => "the charge of every flask and every quote",
            Self::LiftS => "the hours of plates and quotes",
            Self::FinishingMinutes => "new orders for this design",
            Self::Shrinkage => "the size a model is drawn at",
            Self::Chance => {
                "what stands beside the verdict on a design's page, and how many to cast"
            }
            Self::Limit => "the verdicts on designs' pages from then on",
        }
    }

    /// How one measurement is reached.
    const fn formula(self) -> &'static str {
        match self {
            Self::MetalLoss => {
                "median of (charge − castings − returns) / charge over the flasks cut off last"
            }
            Self::LiftS => {
                "setting + median of (hours on the printer − hours reckoned) / layers over the plates printed last"
            }
            Self::FinishingMinutes => "median of the minutes of the pieces finished last",
            Self::Shrinkage => {
                "median of 1 − measured / (model × (1 − shrinkage of its resin)) over the castings measured last"
            }
            Self::Chance => {
                "(1 + came out) / (2 + castings), the mean of what is believed after them"
            }
            Self::Limit => "where nine of ten come out, or one of ten does",
        }
    }

    /// The unit as it is kept.
    const fn unit(self) -> &'static str {
        match self {
            Self::MetalLoss | Self::Shrinkage | Self::Chance | Self::Limit => "",
            Self::LiftS => "s",
            Self::FinishingMinutes => "min",
        }
    }

    /// What the setting can take, and to how many decimals it is kept.
    const fn limits(self) -> (f64, f64, i32) {
        match self {
            Self::MetalLoss => (0.0, 0.5, 4),
            Self::LiftS => (0.0, 3600.0, 2),
            Self::FinishingMinutes => (0.0, 10_000.0, 0),
            Self::Shrinkage => (0.0, 0.0999, 4),
            Self::Chance => (0.0, 1.0, 2),
            Self::Limit => (-20.0, 20.0, 2),
        }
    }
}

impl std::str::FromStr for What {
    type Err = ();
    fn from_str(text: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|what| what.name() == text).ok_or(())
    }
}

/// What the measurements propose.
#[derive(Clone, Debug)]
pub(super) struct Proposal {
    pub(super) after: f64,
    pub(super) records: usize,
    /// Between these lies the middle half of the measurements; of a chance or a limit, the true one.
    pub(super) middle_half: (f64, f64),
    pub(super) working: Working,
}

/// The value below which a share of sorted values lies, between two of them in proportion.
/// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2, puts it at p(N + 1); this is the
/// other usual one, at 1 + p(N − 1), which for the median is the same.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = share * last as f64;
    let below = at.floor() as usize;
    let (low, high) = (*sorted.get(below)?, *sorted.get((below + 1).min(last))?);
    Some(low + (high - low) * (at - below as f64))
}

/// What a verdict is to be taken to mean, from castings that came out (1) or did not (0): every
/// chance was as likely before the first of them.
///
/// # Source
/// P. S. Laplace, Essai philosophique sur les probabilités (1814), the rule of succession: the
/// mean of the Beta(1 + came out, 1 + did not) distribution.
fn propose_chance(now: f64, outcomes: &[f64]) -> Option<Proposal> {
    let good = outcomes.iter().filter(|outcome| **outcome > 0.5).count();
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let tally = Tally { good: count(good), bad: count(outcomes.len() - good) };
    if outcomes.len() < LEAST {
        return None;
    }
    let interval = wilson(tally, Confidence::NinetyFive).ok()?;
    let ends = [&interval.value.low, &interval.value.high].map(|end| end.percent() / 100.0);
    let mean = (1.0 + f64::from(tally.good)) / (2.0 + tally.total() as f64);
    let after = (mean * 100.0).round() / 100.0;
    if (after - now).abs() < 0.005 {
        return None;
    }
    let mut working = Working::default();
    let castings = i64::try_from(outcomes.len()).unwrap_or(i64::MAX);
    working.step(
        What::Chance.formula(),
        vec![
            Figure::count("came out", i64::from(tally.good), "", Source::MeasuredHere),
            Figure::count("castings", castings, "", Source::MeasuredHere),
            Figure::real("taken to mean now", now, "", Source::Entered),
        ],
        Figure::real("proposed", after, "", Source::Computed),
    );
    if (ends[0]..=ends[1]).contains(&now) {
        working.warn("What it is taken to mean now lies within the interval of the true share: the change may be chance.");
    }
    let middle_half = (ends[0], ends[1]);
    Some(Proposal { after, records: outcomes.len(), middle_half, working })
}

/// Where castings say that the limit of a verdict lies: up to it nine of ten come out when it is
/// `kept` below, and from it on one of ten does when not.
pub(super) fn propose_limit(
    now: f64,
    castings: usize,
    seen: &Worked<LimitSeen>,
    kept: bool,
) -> Option<Proposal> {
    let (at, low, high) = match (seen.value, kept) {
        (LimitSeen::Fitted(fit), true) => {
            (fit.nine_of_ten.at, fit.nine_of_ten.low, fit.nine_of_ten.high)
        }
        (LimitSeen::Fitted(fit), false) => {
            (fit.one_of_ten.at, fit.one_of_ten.low, fit.one_of_ten.high)
        }
        (LimitSeen::Apart { good_to, bad_from }, true) => (good_to, good_to, bad_from),
        (LimitSeen::Apart { good_to, bad_from }, false) => (bad_from, good_to, bad_from),
    };
    let (least, most, decimals) = What::Limit.limits();
    let scale = 10_f64.powi(decimals);
    let after = (at.clamp(least, most) * scale).round() / scale;
    if (after - now).abs() < 0.5 / scale {
        return None;
    }
    let mut working = seen.working.clone();
    if (low..=high).contains(&now) {
        working.warn(
            "The limit now lies within the interval of the true one: the change may be chance.",
        );
    }
    Some(Proposal { after, records: castings, middle_half: (low, high), working })
}

/// What to set in place of `now`; none of too few measurements, or of ones that say the same.
pub(super) fn propose(what: What, now: f64, measured: &[f64]) -> Option<Proposal> {
    if what == What::Chance {
        return propose_chance(now, measured);
    }
    let mut sorted: Vec<f64> = measured.iter().copied().filter(|value| value.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    if sorted.len() < LEAST {
        return None;
    }
    let (least, most, decimals) = what.limits();
    // Hours are compared by what a layer took too much; the others are measured themselves.
    let base = if what == What::LiftS { now } else { 0.0 };
    let median = quantile(&sorted, 0.5)?;
    let middle_half = (base + quantile(&sorted, 0.25)?, base + quantile(&sorted, 0.75)?);
    let scale = 10_f64.powi(decimals);
    let after = ((base + median).clamp(least, most) * scale).round() / scale;
    if (after - now).abs() < 0.5 / scale {
        return None;
    }
    let mut working = Working::default();
    let inputs = vec![
        Figure::count(
            "measurements",
            i64::try_from(sorted.len()).unwrap_or(i64::MAX),
            "",
            Source::Entered,
        ),
        Figure::real("setting now", now, what.unit(), Source::Entered),
        Figure::real("median", median, what.unit(), Source::Entered),
        Figure::real("a quarter lies below", middle_half.0, what.unit(), Source::Entered),
        Figure::real("a quarter lies above", middle_half.1, what.unit(), Source::Entered),
    ];
    working.step(
        what.formula(),
        inputs,
        Figure::real("proposed", after, what.unit(), Source::Entered),
    );
    if (middle_half.0..=middle_half.1).contains(&now) {
        working.warn("The setting lies within the middle half of what was measured: the change may be chance.");
    }
    Some(Proposal { after, records: sorted.len(), middle_half, working })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quartiles_are_those_of_a_handbook_example() {
        // numpy.percentile([1, 2, 3, 4, 5, 6, 7, 8], [25, 50, 75]) is 2.75, 4.5, 6.25.
        let sorted: Vec<f64> = (1..=8).map(f64::from).collect();
        let at = |share| quantile(&sorted, share).unwrap();
        assert_eq!((at(0.25), at(0.5), at(0.75)), (2.75, 4.5, 6.25));
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn a_median_is_proposed_from_eight_on_and_one_odd_piece_does_not_move_it() {
        let mut losses = vec![0.010, 0.011, 0.012, 0.012, 0.013, 0.013, 0.014];
        assert!(propose(What::MetalLoss, 0.03, &losses).is_none(), "seven say nothing");
        losses.push(0.4);
        let proposal = propose(What::MetalLoss, 0.03, &losses).unwrap();
        assert!((proposal.after - 0.0125).abs() < 1e-12);
        assert_eq!(proposal.records, 8);
        assert!(propose(What::MetalLoss, 0.0125, &losses).is_none(), "it says that already");
    }

    #[test]
    fn a_verdict_is_taken_to_mean_what_came_out_by_the_rule_of_succession() {
        // Nine of fourteen: (1 + 9) / (2 + 14) = 0.625, to two decimals 0.63 (half upwards).
        let mut outcomes = vec![1.0; 9];
        outcomes.extend([0.0; 5]);
        let proposal = propose(What::Chance, 0.5, &outcomes).unwrap();
        assert!((proposal.after - 0.63).abs() < 1e-12);
        assert_eq!(proposal.records, 14);
        // Wilson's interval of 9 of 14 with z = 1.96, worked by hand: (0.6429 + 0.1372 ± 0.2863) / 1.2744.
        assert!((proposal.middle_half.0 - 0.3876).abs() < 1e-3, "{:?}", proposal.middle_half);
        assert!((proposal.middle_half.1 - 0.8366).abs() < 1e-3, "{:?}", proposal.middle_half);
        assert!(propose(What::Chance, 0.5, &[1.0; 7]).is_none(), "seven say nothing");
        assert!(propose(What::Chance, 0.63, &outcomes).is_none(), "it means that already");
        // Eight of eight are not certainty.
        assert!((propose(What::Chance, 1.0, &[1.0; 8]).unwrap().after - 0.9).abs() < 1e-12);
    }

    #[test]
    fn a_printer_gets_what_its_layers_took_too_much_and_never_less_than_nothing() {
        let proposal = propose(What::LiftS, 6.0, &[0.5; 9]).unwrap();
        assert!((proposal.after - 6.5).abs() < 1e-12);
        assert_eq!(propose(What::LiftS, 6.0, &[-9.0; 9]).unwrap().after, 0.0);
        let minutes = propose(What::FinishingMinutes, 20.0, &[30.4; 10]).unwrap();
        assert_eq!(minutes.after, 30.0);
        assert!(propose(What::FinishingMinutes, 30.0, &[f64::NAN; 10]).is_none());
    }
}
