//! The bench set: rest between gloss-off and the kiln.

use std::borrow::Cow;

use crate::quantity::Minutes;
use crate::source::{Source, Sourced};

use super::{Binder, InvestmentRefusal};

/// When a flask may go into the kiln, counted from gloss-off.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchSetRule {
    /// Do not move it before.
    pub leave_standing: Sourced<Minutes>,
    /// Fire it no sooner.
    pub earliest: Sourced<Minutes>,
    /// Fire it no later, unless it has been kept damp.
    pub latest: Sourced<Minutes>,
}

/// Where a flask stands in its bench set.
#[derive(Debug, Clone, PartialEq)]
pub enum BenchSetState {
    /// Still setting.
    Setting {
        /// Minutes until it may be fired.
        wait: Minutes,
        /// Whether it may already be moved.
        movable: bool,
    },
    /// May be fired.
    Ready {
        /// Minutes until it gets too dry.
        left: Minutes,
    },
    /// Has stood too long.
    Passed {
        /// What to do now.
        advice: &'static str,
    },
}

impl BenchSetRule {
    /// The usual window of a binder.
    ///
    /// # Source
    /// Gypsum-bonded, earliest: two hours undisturbed, Orchid jewellers' forum, thread 19887;
    /// not moved for an hour: “General Casting Tips for Karat Golds”, a supplier's bench
    /// article. Latest, and all for phosphate: common practice, no source; its data sheet decides.
    #[must_use]
    pub fn usual(binder: Binder) -> Self {
        let hours =
            |hours: f64, source: Source| Sourced { value: Minutes::of(hours * 60.0), source };
        match binder {
            Binder::Gypsum => Self {
                leave_standing: hours(
                    1.0,
                    Source::Published(Cow::Borrowed(
                        "“General Casting Tips for Karat Golds”, jewellery supplier's bench article",
                    )),
                ),
                earliest: hours(
                    2.0,
                    Source::Published(Cow::Borrowed("Orchid jewellers' forum, thread 19887")),
                ),
                latest: hours(24.0, Source::CommonPractice),
            },
            Binder::Phosphate => Self {
                leave_standing: hours(1.0, Source::CommonPractice),
                earliest: hours(2.0, Source::CommonPractice),
                latest: hours(24.0, Source::CommonPractice),
            },
        }
    }

    /// Where a flask stands so long after gloss-off.
    ///
    /// # Refuses
    /// A rule whose earliest comes after its latest.
    pub fn state(&self, since_gloss_off: Minutes) -> Result<BenchSetState, InvestmentRefusal> {
        let (earliest, latest) = (self.earliest.value, self.latest.value);
        if earliest > latest {
            return Err(InvestmentRefusal::NoBenchSetWindow {
                earliest_min: earliest.get(),
                latest_min: latest.get(),
            });
        }
        Ok(if since_gloss_off < earliest {
            BenchSetState::Setting {
                wait: earliest - since_gloss_off,
                movable: since_gloss_off >= self.leave_standing.value,
            }
        } else if since_gloss_off <= latest {
            BenchSetState::Ready { left: latest - since_gloss_off }
        } else {
            BenchSetState::Passed {
                advice: "The mould may have dried: wet it before firing (stand it in a little water until the surface darkens, common practice, no source), start the burnout slowly, and expect fins or cracks. Kept wrapped and damp it lasts longer. Look at the powder's data sheet.",
            }
        })
    }
}
