//! Finished size, casting size, model size; and ring sizes.
//!
//! Contractions multiply, they are never added: a print that shrinks 1.5 % and a casting that
//! contracts 1.25 % need a model 1/(0.985 × 0.9875) as large.

mod ring;

use crate::metal::ShareRange;
use crate::quantity::{Millimetres, QuantityRefusal, Share};
use crate::source::{Source, Sourced};
use crate::working::{Figure, Worked, Working};

pub use ring::{RingScale, RingSize};

/// Why a size was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SizeRefusal {
    /// A quantity was not finite or out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityRefusal),
    /// A length that has to be above zero is not.
    #[error("{what} must be longer than nothing; {given_mm} mm was given")]
    NoLength {
        /// Which length.
        what: &'static str,
        /// What was given.
        given_mm: f64,
    },
    /// Finishing would take everything away, or less than nothing.
    #[error("finishing takes {allowance_mm} mm, which cannot be taken from {finished_mm} mm")]
    AllowanceTooLarge {
        /// The allowance.
        allowance_mm: f64,
        /// The finished size.
        finished_mm: f64,
    },
    /// A contraction that would leave nothing.
    #[error("{what} of {percent} % is not credible; it must stay below 20 %")]
    ContractionTooLarge {
        /// Which contraction.
        what: &'static str,
        /// What was given.
        percent: f64,
    },
    /// The later size is larger than the earlier.
    #[error(
        "the later size ({after_mm} mm) is larger than the earlier ({before_mm} mm); measure again at the same place"
    )]
    Grew {
        /// Earlier size.
        before_mm: f64,
        /// Later size.
        after_mm: f64,
    },
    /// Not a size of this scale.
    #[error("“{given}” is not a ring size of the scale {scale}; write for example {example}")]
    NotARingSize {
        /// What was given.
        given: String,
        /// Name of the scale.
        scale: &'static str,
        /// How sizes are written in it.
        example: &'static str,
    },
    /// A diameter no ring has.
    #[error("{diameter_mm} mm is not the inside diameter of a ring on the scale {scale}")]
    NoSuchRing {
        /// The diameter.
        diameter_mm: f64,
        /// Name of the scale.
        scale: &'static str,
    },
}

/// On which side of a dimension the finisher takes material away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Feature {
    /// A bore: finishing makes it wider.
    Bore,
    /// An outside length, width or thickness: finishing makes it smaller.
    Outside,
}

/// What happens to a length between model and finished piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Changes {
    /// Bore or outside length.
    pub feature: Feature,
    /// Contraction of the pattern in print and cure, if the printer does not make up for it.
    pub pattern: Sourced<Share>,
    /// Contraction of the casting against its pattern.
    pub casting: Sourced<Share>,
    /// Taken away in finishing over the whole length: both sides of a thickness, twice the
    /// depth in a bore.
    pub finishing: Sourced<Millimetres>,
}

/// A contraction of this or more is taken for a mistake.
const MOST_CONTRACTION: f64 = 0.2;

impl Changes {
    /// What remains of a length, as a factor.
    fn kept(&self) -> Result<f64, SizeRefusal> {
        let mut kept = 1.0;
        for (what, contraction) in [
            ("a contraction in print and cure", &self.pattern),
            ("a contraction of the casting", &self.casting),
        ] {
            if contraction.value.get() >= MOST_CONTRACTION {
                let percent = contraction.value.percent();
                return Err(SizeRefusal::ContractionTooLarge { what, percent });
            }
            kept *= 1.0 - contraction.value.get();
        }
        if self.finishing.value.get() < 0.0 {
            return Err(SizeRefusal::AllowanceTooLarge {
                allowance_mm: self.finishing.value.get(),
                finished_mm: 0.0,
            });
        }
        Ok(kept)
    }

    fn contraction_figures(&self) -> [Figure; 2] {
        let figure = |name, contraction: &Sourced<Share>| {
            Figure::real(name, contraction.value.percent(), "%", contraction.source.clone())
        };
        [
            figure("contraction in print and cure", &self.pattern),
            figure("contraction of the casting", &self.casting),
        ]
    }

    fn finishing_figure(&self) -> Figure {
        Figure::real(
            "taken away in finishing",
            self.finishing.value.get(),
            "mm",
            self.finishing.source.clone(),
        )
    }
}

fn above_zero(what: &'static str, length: Millimetres) -> Result<f64, SizeRefusal> {
    let given_mm = length.get();
    if given_mm > 0.0 { Ok(given_mm) } else { Err(SizeRefusal::NoLength { what, given_mm }) }
}

/// The size to model for a finished size.
///
/// # Refuses
/// Sizes not above zero, contractions of 20 % or more, finishing that leaves nothing.
pub fn model_size(
    finished: Millimetres,
    changes: &Changes,
) -> Result<Worked<Millimetres>, SizeRefusal> {
    let finished_mm = above_zero("the finished size", finished)?;
    let kept = changes.kept()?;
    let allowance_mm = changes.finishing.value.get();
    let (sign, as_cast_mm) = match changes.feature {
        Feature::Bore => ('−', finished_mm - allowance_mm),
        Feature::Outside => ('+', finished_mm + allowance_mm),
    };
    if as_cast_mm <= 0.0 {
        return Err(SizeRefusal::AllowanceTooLarge { allowance_mm, finished_mm });
    }
    let model = Millimetres::new(as_cast_mm / kept)?;
    let mut working = Working::default();
    working.step(
        format!("finished size {sign} taken away in finishing"),
        vec![
            Figure::real("finished size", finished_mm, "mm", Source::Entered),
            changes.finishing_figure(),
        ],
        Figure::real("size as cast", as_cast_mm, "mm", Source::Computed),
    );
    let mut inputs = vec![Figure::real("size as cast", as_cast_mm, "mm", Source::Computed)];
    inputs.extend(changes.contraction_figures());
    working.step(
        "size as cast ÷ ((1 − contraction in print and cure) × (1 − contraction of the casting))",
        inputs,
        Figure::real("size of the model", model.get(), "mm", Source::Computed),
    );
    warn_of_bore(changes, &mut working);
    Ok(Worked { value: model, working })
}

/// The finished size that comes of a model.
///
/// # Refuses
/// As [`model_size`].
pub fn finished_size(
    model: Millimetres,
    changes: &Changes,
) -> Result<Worked<Millimetres>, SizeRefusal> {
    let model_mm = above_zero("the size of the model", model)?;
    let as_cast_mm = model_mm * changes.kept()?;
    let allowance_mm = changes.finishing.value.get();
    let (sign, finished_mm) = match changes.feature {
        Feature::Bore => ('+', as_cast_mm + allowance_mm),
        Feature::Outside => ('−', as_cast_mm - allowance_mm),
    };
    if finished_mm <= 0.0 {
        return Err(SizeRefusal::AllowanceTooLarge { allowance_mm, finished_mm: as_cast_mm });
    }
    let finished = Millimetres::new(finished_mm)?;
    let mut working = Working::default();
    let mut inputs = vec![Figure::real("size of the model", model_mm, "mm", Source::Entered)];
    inputs.extend(changes.contraction_figures());
    working.step(
        "size of the model × (1 − contraction in print and cure) × (1 − contraction of the casting)",
        inputs,
        Figure::real("size as cast", as_cast_mm, "mm", Source::Computed),
    );
    working.step(
        format!("size as cast {sign} taken away in finishing"),
        vec![
            Figure::real("size as cast", as_cast_mm, "mm", Source::Computed),
            changes.finishing_figure(),
        ],
        Figure::real("finished size", finished_mm, "mm", Source::Computed),
    );
    warn_of_bore(changes, &mut working);
    Ok(Worked { value: finished, working })
}

fn warn_of_bore(changes: &Changes, working: &mut Working) {
    if changes.feature == Feature::Bore {
        working.warn("A bore is held open by its core and contracts less than an outside length; use a contraction measured on bores.");
    }
}

/// The contraction between two measurements of the same length.
///
/// # Refuses
/// Lengths not above zero, or a later one larger than the earlier.
pub fn measured_contraction(
    before: Millimetres,
    after: Millimetres,
) -> Result<Worked<Share>, SizeRefusal> {
    let before_mm = above_zero("the earlier size", before)?;
    let after_mm = above_zero("the later size", after)?;
    if after_mm > before_mm {
        return Err(SizeRefusal::Grew { before_mm, after_mm });
    }
    let share = Share::new(1.0 - after_mm / before_mm)?;
    let mut working = Working::default();
    working.step(
        "(1 − later ÷ earlier) × 100",
        vec![
            Figure::real("earlier", before_mm, "mm", Source::MeasuredHere),
            Figure::real("later", after_mm, "mm", Source::MeasuredHere),
        ],
        Figure::real("contraction", share.percent(), "%", Source::Computed),
    );
    Ok(Worked { value: share, working })
}

/// The linear contraction that belongs to a contraction by volume, as resin makers state it.
pub fn linear_from_volume(by_volume: Share) -> Result<Worked<Share>, SizeRefusal> {
    let share = Share::new(1.0 - (1.0 - by_volume.get()).cbrt())?;
    let mut working = Working::default();
    working.step(
        "1 − cube root of (1 − contraction by volume)",
        vec![Figure::real("contraction by volume", by_volume.percent(), "%", Source::Entered)],
        Figure::real("linear contraction", share.percent(), "%", Source::Computed),
    );
    Ok(Worked { value: share, working })
}

/// Contraction in print and cure to start from; many printers already make up for it.
///
/// # Source
/// Common practice, no source; a casting house's guide of 2024 says 1.2 to 2.5 %.
#[must_use]
pub fn typical_pattern_contraction() -> Sourced<ShareRange> {
    Sourced {
        value: ShareRange {
            least: Share::NONE,
            greatest: Share::from_percent(1.5).unwrap_or(Share::NONE),
        },
        source: Source::CommonPractice,
    }
}

/// Names are repeated in messages, so a very long one is cut.
fn short(text: &str) -> String {
    text.chars().take(40).collect()
}
