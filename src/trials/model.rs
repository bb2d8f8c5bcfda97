//! The draw, and what the outcome says. No SQL, no clock.

use foundry::working::Worked;
use foundry::yields::{self, Comparison, Confidence, Tally, Verdict, YieldInterval};

use crate::pieces::Stage;

/// What is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum Setting {
    /// The supports of a plate.
    Supports,
    /// What patterns lie in while they cure.
    Medium,
    /// Anything else.
    Other,
}

impl Setting {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Supports, Self::Medium, Self::Other];

    /// The word in forms and in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Supports => "supports",
            Self::Medium => "medium",
            Self::Other => "other",
        }
    }

    /// What a person reads.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Supports => "Supports of a plate",
            Self::Medium => "What patterns cure in",
            Self::Other => "Something else",
        }
    }

    /// The values it may have; empty when any words do.
    #[must_use]
    pub const fn values(self) -> &'static [&'static str] {
        match self {
            Self::Supports => &["light", "medium", "heavy"],
            Self::Medium => &["air", "water", "glycerin"],
            Self::Other => &[],
        }
    }

    /// The stage before which pieces are drawn; none where it may be any.
    #[must_use]
    pub const fn drawn_before(self) -> Option<Stage> {
        match self {
            Self::Supports => Some(Stage::Print),
            Self::Medium => Some(Stage::Cure),
            Self::Other => None,
        }
    }
}

impl std::str::FromStr for Setting {
    type Err = ();
    fn from_str(text: &str) -> Result<Self, ()> {
        Self::ALL.into_iter().find(|setting| setting.name() == text).ok_or(())
    }
}

/// The arm of the n-th piece, 1 or 2: drawn in blocks of four with two of each, so that the
/// arms stay even and nobody can tell the next one (permuted blocks; common practice in
/// trials, no source).
pub(super) fn arm(seed: i64, n: i32) -> i16 {
    // The six ways in which two ones and two twos can stand in a row.
    const BLOCKS: [[i16; 4]; 6] =
        [[1, 1, 2, 2], [1, 2, 1, 2], [1, 2, 2, 1], [2, 1, 1, 2], [2, 1, 2, 1], [2, 2, 1, 1]];
    let (block, place) = (n.max(0) / 4, n.max(0) % 4);
    let drawn = mixed(seed.cast_unsigned() ^ (u64::from(block.unsigned_abs()) << 32)) % 6;
    BLOCKS[drawn as usize][place as usize]
}

/// One step of the splitmix64 generator (Steele, Lea, Flood, "Fast splittable pseudorandom
/// number generators", OOPSLA 2014, figure 17).
const fn mixed(seed: u64) -> u64 {
    let z = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A difference between two yields in points of a hundred, with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Effect {
    pub(super) points: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// How much more the first yields than the second: the hybrid score interval made from both
/// Wilson intervals (Newcombe, "Interval estimation for the difference between independent
/// proportions", Statistics in Medicine 17, 1998, 873–890, method 10).
pub(super) fn effect(first: &YieldInterval, second: &YieldInterval) -> Effect {
    let (p, l, u) = (first.counted.percent(), first.low.percent(), first.high.percent());
    let (q, m, v) = (second.counted.percent(), second.low.percent(), second.high.percent());
    let points = p - q;
    Effect { points, low: points - (p - l).hypot(v - q), high: points + (u - p).hypot(q - m) }
}

/// What may be said.
pub(super) enum Answer {
    /// Not as many are through as were settled on before; nothing is concluded.
    NotYet { least: u64 },
    /// The trial is through.
    Is { compared: Box<Worked<Comparison>>, effect: Effect },
}

/// The answer of a trial that needs so many in each arm.
pub(super) fn answer(first: Tally, second: Tally, each: i32) -> Answer {
    let least = first.total().min(second.total());
    if least >= u64::from(each.unsigned_abs())
        && let Ok(compared) = yields::compare(first, second, Confidence::NinetyFive)
    {
        let effect = effect(&compared.value.first, &compared.value.second);
        return Answer::Is { compared: Box::new(compared), effect };
    }
    Answer::NotYet { least }
}

/// The arm that came out better, 1 or 2; none where no difference was shown.
pub(super) const fn better(verdict: Verdict) -> Option<i16> {
    match verdict {
        Verdict::FirstBetter => Some(1),
        Verdict::SecondBetter => Some(2),
        Verdict::TooFew { .. } | Verdict::NotShown => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_block_of_four_is_even_and_the_draw_is_not_always_the_same() {
        for seed in [0, 1, -7, i64::MIN, i64::MAX] {
            for block in 0..60 {
                let twos = (0..4).filter(|at| arm(seed, block * 4 + at) == 2).count();
                assert_eq!(twos, 2);
            }
        }
        let draw = |seed| (0..40).map(|n| arm(seed, n)).collect::<Vec<_>>();
        assert_ne!(draw(1), draw(2));
        assert_ne!(draw(1)[..4], draw(1)[4..8]);
        assert!([1, 2].contains(&arm(3, -9)), "no number is out of range");
    }

    /// Newcombe 1998, table II: examples (a), (b), (c) by method 10.
    #[test]
    fn the_interval_of_a_difference_is_that_of_the_published_examples() {
        for (good, of, other_good, other_of, low, high) in
            [(56, 70, 48, 80, 5.24, 33.39), (9, 10, 3, 10, 17.05, 80.90), (6, 7, 2, 7, 5.82, 80.62)]
        {
            let wilson = |good: u32, of: u32| {
                yields::wilson(Tally { good, bad: of - good }, Confidence::NinetyFive)
                    .unwrap()
                    .value
            };
            let effect = effect(&wilson(good, of), &wilson(other_good, other_of));
            assert!((effect.low - low).abs() < 0.006, "{effect:?}");
            assert!((effect.high - high).abs() < 0.006, "{effect:?}");
        }
    }

    #[test]
    fn nothing_is_said_before_the_settled_number_is_through() {
        let tally = |good, bad| Tally { good, bad };
        assert!(matches!(answer(tally(20, 0), tally(0, 19), 20), Answer::NotYet { least: 19 }));
        let Answer::Is { compared, .. } = answer(tally(20, 0), tally(0, 20), 20) else {
            panic!("twenty of each are through")
        };
        assert_eq!(better(compared.value.verdict), Some(1));
    }
}
