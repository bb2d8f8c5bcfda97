//! Ring sizes by ISO 8653, and on the scales of the United States and the United Kingdom.

use std::f64::consts::PI;

use crate::quantity::{MM_PER_INCH, Millimetres};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::{SizeRefusal, short};

/// A scale of ring sizes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RingScale {
    /// ISO 8653: the inside circumference in millimetres.
    Iso8653,
    /// United States, by quarter sizes.
    UnitedStates,
    /// United Kingdom, letters and half letters.
    UnitedKingdom,
}

/// A size on one of the scales, kept as its step: whole on ISO 8653, a quarter in the United
/// States, half a letter in the United Kingdom.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct RingSize {
    scale: RingScale,
    step: u16,
}

/// Inside diameter of size 0 of the usual United States scale, in inches.
const US_ZERO_IN: f64 = 0.458;
/// Diameter from one United States size to the next, in inches.
const US_STEP_IN: f64 = 0.032;
/// Circumference of the step before A on the United Kingdom scale, in millimetres.
const UK_ZERO_MM: f64 = 36.25;
/// Circumference from one letter to the next, in millimetres.
const UK_STEP_MM: f64 = 1.25;

/// Half-letter steps of A and Z.
const UK_A: u16 = 2;
const UK_Z: u16 = 52;
/// Half-letter step of Z + 6.
const UK_LAST: u16 = 64;

impl RingScale {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Iso8653, Self::UnitedStates, Self::UnitedKingdom];

    /// The name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Iso8653 => "ISO 8653",
            Self::UnitedStates => "United States",
            Self::UnitedKingdom => "United Kingdom",
        }
    }

    /// Finds a scale by its name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|scale| scale.name() == name)
    }

    const fn example(self) -> &'static str {
        match self {
            Self::Iso8653 => "54",
            Self::UnitedStates => "7 ½, 7 1/2 or 7.5",
            Self::UnitedKingdom => "N ½, N 1/2 or Z+1",
        }
    }

    /// First and last step.
    const fn steps(self) -> (u16, u16) {
        match self {
            // The standard's sizes run from 41 to 76; children's rings and thumbs go beyond.
            Self::Iso8653 => (35, 85),
            Self::UnitedStates => (0, 64),
            Self::UnitedKingdom => (UK_A, UK_LAST),
        }
    }

    fn source(self) -> Source {
        Source::Published(match self {
            Self::Iso8653 => "ISO 8653:2016, size = inner circumference in mm".into(),
            Self::UnitedStates => {
                "the scale of most charts, 0.458 in + 0.032 in for each size; there is no standard"
                    .into()
            }
            Self::UnitedKingdom => {
                "R. Rowlett, Dictionary of Units: circumference 36.25 mm + 1.25 mm for each letter"
                    .into()
            }
        })
    }
}

impl RingSize {
    fn of(scale: RingScale, step: u16) -> Option<Self> {
        let (first, last) = scale.steps();
        (first..=last).contains(&step).then_some(Self { scale, step })
    }

    /// Reads a size as people write it.
    ///
    /// # Refuses
    /// What is not a size of the scale.
    pub fn parse(scale: RingScale, text: &str) -> Result<Self, SizeRefusal> {
        let refusal = || SizeRefusal::NotARingSize {
            given: short(text),
            scale: scale.name(),
            example: scale.example(),
        };
        let plain: String = text.chars().filter(|letter| !letter.is_whitespace()).collect();
        let step = match scale {
            RingScale::Iso8653 => plain.parse::<u16>().ok(),
            RingScale::UnitedStates => us_step(text),
            RingScale::UnitedKingdom => uk_step(&plain.to_uppercase()),
        };
        step.and_then(|step| Self::of(scale, step)).ok_or_else(refusal)
    }

    /// The size on a scale that comes nearest to an inside diameter.
    ///
    /// # Refuses
    /// A diameter beyond either end of the scale.
    pub fn nearest(scale: RingScale, inside: Millimetres) -> Result<Self, SizeRefusal> {
        let steps = match scale {
            RingScale::Iso8653 => inside.get() * PI,
            RingScale::UnitedStates => (inside.inches() - US_ZERO_IN) / US_STEP_IN * 4.0,
            RingScale::UnitedKingdom => (inside.get() * PI - UK_ZERO_MM) / UK_STEP_MM * 2.0,
        };
        let rounded = steps.round();
        let in_range = (0.0..f64::from(u16::MAX)).contains(&rounded);
        in_range
            .then_some(rounded as u16)
            .and_then(|step| Self::of(scale, step))
            .ok_or(SizeRefusal::NoSuchRing { diameter_mm: inside.get(), scale: scale.name() })
    }

    /// Its scale.
    #[must_use]
    pub const fn scale(self) -> RingScale {
        self.scale
    }

    /// The inside diameter with its working.
    ///
    /// # Source
    /// ISO 8653: D = C/π. United States: 0.458 in + 0.032 in for each size; a second chart
    /// (circumference 36.3 + 2.60 mm for each size) differs by 0.13 mm at 13. United Kingdom:
    /// circumference 36.25 mm + 1.25 mm for each letter, A = 1; charts differ by up to 0.17 mm
    /// below J.
    #[must_use]
    pub fn inside_diameter(self) -> Worked<Millimetres> {
        let step = f64::from(self.step);
        let mut working = Working::default();
        let source = self.scale.source();
        let result = |value| Figure::real("inside diameter", value, "mm", Source::Computed);
        let diameter = match self.scale {
            RingScale::Iso8653 => {
                let diameter = step / PI;
                let size = Figure::real("size, circumference", step, "mm", source);
                working.step("circumference ÷ π", vec![size], result(diameter));
                diameter
            }
            RingScale::UnitedStates => {
                let size = step / 4.0;
                let diameter = (US_ZERO_IN + US_STEP_IN * size) * MM_PER_INCH;
                let inputs = vec![Figure::real("size", size, "", source)];
                working.step("(0.458 + 0.032 × size) × 25.4", inputs, result(diameter));
                working.warn("There is no standard for this scale; charts differ by up to 0.13 mm in the large sizes. Agree on the diameter in millimetres.");
                diameter
            }
            RingScale::UnitedKingdom => {
                let position = step / 2.0;
                let diameter = (UK_ZERO_MM + UK_STEP_MM * position) / PI;
                let inputs = vec![Figure::real("letter, A = 1", position, "", source)];
                working.step("(36.25 + 1.25 × letter) ÷ π", inputs, result(diameter));
                working.warn("Charts differ by up to a quarter size below J. Agree on the diameter in millimetres.");
                diameter
            }
        };
        Worked { value: Millimetres::of(diameter), working }
    }
}

impl std::fmt::Display for RingSize {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.scale {
            RingScale::Iso8653 => write!(f, "{}", self.step),
            RingScale::UnitedStates => {
                let (whole, quarter) = (self.step / 4, self.step % 4);
                match (whole, ["", "¼", "½", "¾"][usize::from(quarter)]) {
                    (whole, "") => write!(f, "{whole}"),
                    (0, part) => f.write_str(part),
                    (whole, part) => write!(f, "{whole} {part}"),
                }
            }
            RingScale::UnitedKingdom => {
                let half = if self.step % 2 == 1 { " ½" } else { "" };
                let whole = self.step / 2;
                if self.step < UK_Z + 2 {
                    let letter =
                        u8::try_from(whole).map_or('?', |place| char::from(b'A' + place - 1));
                    write!(f, "{letter}{half}")
                } else {
                    write!(f, "Z+{}{half}", whole - UK_Z / 2)
                }
            }
        }
    }
}

/// Takes a fraction off the end of a size: its value in quarters, and what stands before it.
fn split_fraction(text: &str) -> (&str, u16) {
    for (written, quarters) in [("¼", 1), ("½", 2), ("¾", 3), ("1/4", 1), ("1/2", 2), ("3/4", 3)]
    {
        if let Some(before) = text.strip_suffix(written) {
            return (before, quarters);
        }
    }
    (text, 0)
}

/// `7`, `7½`, `7 1/2`, `7.5` in quarters.
fn us_step(text: &str) -> Option<u16> {
    let text = text.trim();
    let (before, quarters) = split_fraction(text);
    if quarters == 0 {
        let plain = text.chars().all(|part| part.is_ascii_digit() || part == '.' || part == ',');
        let size: f64 = plain.then(|| text.replace(',', "."))?.parse().ok()?;
        let steps = size * 4.0;
        let whole = (0.0..=1000.0).contains(&steps) && steps.fract() == 0.0;
        return whole.then_some(steps as u16);
    }
    // `71/2` without a gap would be read as 7½ although it may be a slip; ask for the gap.
    if text.ends_with(|last: char| last.is_ascii_digit())
        && !before.is_empty()
        && !before.ends_with(' ')
    {
        return None;
    }
    let whole: u16 = if before.trim().is_empty() { 0 } else { before.trim().parse().ok()? };
    whole.checked_mul(4)?.checked_add(quarters)
}

/// `N`, `N½`, `Z+1`, `Z+1½` in half letters; the text is upper case and without gaps.
fn uk_step(text: &str) -> Option<u16> {
    let (before, quarters) = split_fraction(text);
    if quarters % 2 == 1 {
        return None;
    }
    let half = quarters / 2;
    if let Some(beyond) = before.strip_prefix("Z+") {
        let beyond: u16 = beyond.parse().ok()?;
        return beyond.checked_mul(2)?.checked_add(UK_Z + half);
    }
    let mut letters = before.chars();
    let (letter, end) = (letters.next()?, letters.next());
    if !letter.is_ascii_uppercase() || end.is_some() {
        return None;
    }
    Some((u16::from(letter as u8 - b'A') + 1) * 2 + half)
}
