//! What can be forecast, in which words, and how an outcome tells of it. No SQL, no clock.

use foundry::yields::Tally;
use serde_json::Value;

/// So many of the latest castings with a verdict count; older ones tell of another way of working.
pub const LATEST: i64 = 400;

/// Of fewer castings nothing is claimed.
pub(super) const LEAST: u64 = 8;

/// What is forecast of a casting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum What {
    /// Whether its thinnest section fills.
    Fill,
    /// Whether it is fed until it is solid.
    Feed,
}

/// What the calculation says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "snake_case")]
pub enum Verdict {
    /// It will.
    Yes,
    /// It depends on what is not known.
    Doubtful,
    /// It will not.
    No,
}

impl What {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Fill, Self::Feed];

    /// The word in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fill => "fill",
            Self::Feed => "feed",
        }
    }

    /// The word for headings.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Fill => "Filling",
            Self::Feed => "Feeding",
        }
    }

    /// What a casting did that came out as hoped.
    #[must_use]
    pub const fn came_out(self) -> &'static str {
        match self {
            Self::Fill => "filled",
            Self::Feed => "came out sound",
        }
    }

    /// The failures at cast and finish, and findings on pieces, that show that it did not.
    pub(super) const fn shown_by(self) -> &'static [&'static str] {
        match self {
            Self::Fill => &["incomplete fill"],
            Self::Feed => &["shrinkage porosity"],
        }
    }

    /// The failures with which it did all the same. What is not on either list, such as a short
    /// charge or words of their own, says nothing. Pores show only once a casting is filed, so
    /// failures at cast say nothing of feeding.
    pub(super) const fn in_spite_of(self) -> &'static [&'static str] {
        match self {
            Self::Fill => &[
                "shrinkage porosity",
                "gas porosity",
                "fins",
                "nodules",
                "inclusions",
                "spalling",
                "rough surface",
                "watermarks",
                "wrong size",
                "cut too deep",
            ],
            Self::Feed => {
                &["gas porosity", "rough surface", "watermarks", "wrong size", "cut too deep"]
            }
        }
    }

    /// The first stage whose failures tell.
    pub(super) const fn told_from(self) -> &'static [&'static str] {
        match self {
            Self::Fill => &["cast", "finish"],
            Self::Feed => &["finish"],
        }
    }
}

impl Verdict {
    /// All of them, the best first.
    pub const ALL: [Self; 3] = [Self::Yes, Self::Doubtful, Self::No];

    /// The word in the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::Doubtful => "doubtful",
            Self::No => "no",
        }
    }

    /// The words on pages.
    #[must_use]
    pub const fn words(self, what: What) -> &'static str {
        match (what, self) {
            (What::Fill, Self::Yes) => "Fills",
            (What::Fill, Self::No) => "Will not fill",
            (What::Feed, Self::Yes) => "Fed to the end",
            (What::Feed, Self::No) => "Not fed to the end",
            (_, Self::Doubtful) => "Doubtful",
        }
    }

    /// The chance that it claims by its words alone.
    #[must_use]
    pub const fn claims(self) -> f64 {
        match self {
            Self::Yes => 1.0,
            Self::Doubtful => 0.5,
            Self::No => 0.0,
        }
    }
}

/// A forecast of one design, as it is kept with each of its castings.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// What was forecast.
    pub what: What,
    /// The verdict of the calculation.
    pub verdict: Verdict,
    /// The verdict by this studio's limits, where any were taken over.
    pub own: Option<Verdict>,
    /// The numbers behind both.
    pub figures: Value,
}

impl Said {
    /// The verdict that is shown.
    #[must_use]
    pub fn shown(&self) -> Verdict {
        self.own.unwrap_or(self.verdict)
    }
}

/// Whether the castings bear a verdict out: none of too few, or where the verdict leaves it open.
pub(super) fn borne_out(verdict: Verdict, tally: Tally, low: f64, high: f64) -> Option<bool> {
    if tally.total() < LEAST {
        return None;
    }
    match verdict {
        // More often than not, with all that chance may do to the count.
        Verdict::Yes if low > 0.5 => Some(true),
        Verdict::No if high < 0.5 => Some(true),
        Verdict::Yes if high < 0.5 => Some(false),
        Verdict::No if low > 0.5 => Some(false),
        _ => None,
    }
}

/// How many to cast for nine chances in ten that one comes out; none where that is more than
/// anybody would cast.
pub(super) fn cast_for_one(chance: f64) -> Option<u32> {
    (1..=20)
        .find(|made| 1.0 - (1.0 - chance).powi(*made) >= 0.9)
        .and_then(|n| u32::try_from(n).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_failure_shows_both_that_it_did_and_that_it_did_not() {
        for what in What::ALL {
            assert!(what.shown_by().iter().all(|cause| !what.in_spite_of().contains(cause)));
        }
    }

    #[test]
    fn one_casting_in_ten_chances() {
        // 1 − 0.5⁴ = 0.9375 and 1 − 0.5³ = 0.875; 1 − 0.37² = 0.8631.
        assert_eq!(cast_for_one(0.5), Some(4));
        assert_eq!(cast_for_one(0.63), Some(3));
        assert_eq!(cast_for_one(0.95), Some(1));
        assert_eq!(cast_for_one(0.05), None);
    }

    #[test]
    fn a_verdict_is_borne_out_or_not_beyond_chance_only() {
        let tally = |good, bad| Tally { good, bad };
        assert_eq!(borne_out(Verdict::Yes, tally(7, 0), 0.6, 1.0), None, "too few");
        assert_eq!(borne_out(Verdict::Yes, tally(14, 1), 0.7, 0.99), Some(true));
        assert_eq!(borne_out(Verdict::Yes, tally(6, 5), 0.28, 0.79), None);
        assert_eq!(borne_out(Verdict::No, tally(14, 1), 0.7, 0.99), Some(false));
        assert_eq!(borne_out(Verdict::Doubtful, tally(14, 1), 0.7, 0.99), None);
    }
}
