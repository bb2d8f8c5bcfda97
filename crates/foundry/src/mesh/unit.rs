//! The unit a model is drawn in.

use std::borrow::Cow;

use super::{Bounds, ModelFile};

/// A unit of length that models are drawn in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Thousandth of a millimetre.
    Micron,
    /// Millimetre, the usual one.
    Millimetre,
    /// Ten millimetres.
    Centimetre,
    /// 25.4 mm.
    Inch,
    /// 304.8 mm.
    Foot,
    /// 1000 mm.
    Metre,
}

impl Unit {
    /// All units, from small to large.
    pub const ALL: [Self; 6] =
        [Self::Micron, Self::Millimetre, Self::Centimetre, Self::Inch, Self::Foot, Self::Metre];

    /// Its length in millimetres, exact by definition (inch and foot: international yard
    /// and pound agreement, 1959).
    #[must_use]
    pub const fn in_millimetres(self) -> f64 {
        match self {
            Self::Micron => 0.001,
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
            Self::Metre => 1000.0,
        }
    }

    /// Its name, in the plural.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Micron => "microns",
            Self::Millimetre => "millimetres",
            Self::Centimetre => "centimetres",
            Self::Inch => "inches",
            Self::Foot => "feet",
            Self::Metre => "metres",
        }
    }

    /// Its sign.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Micron => "µm",
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Inch => "in",
            Self::Foot => "ft",
            Self::Metre => "m",
        }
    }

    /// The unit with this sign, or with this name in the singular or plural,
    /// British or American.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Some(match name.trim().to_lowercase().as_str() {
            "µm" | "um" | "micron" | "microns" | "micrometre" | "micrometer" => Self::Micron,
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Self::Millimetre,
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => Self::Centimetre,
            "in" | "inch" | "inches" => Self::Inch,
            "ft" | "foot" | "feet" => Self::Foot,
            "m" | "metre" | "metres" | "meter" | "meters" => Self::Metre,
            _ => return None,
        })
    }
}

impl std::fmt::Display for Unit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// Whether a unit may be taken as known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Certainty {
    /// The file states it and the size makes sense.
    Stated,
    /// The size leaves little doubt, see [`guess_unit`].
    Sure,
    /// Somebody has to say.
    Ask,
}

/// The likeliest unit of a model and why.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitGuess {
    /// The likeliest unit.
    pub unit: Unit,
    /// Whether it may be taken as known.
    pub certainty: Certainty,
    /// Why, in a sentence that can be shown.
    pub reason: Cow<'static, str>,
    /// Every unit that makes a piece of a size that is cast, with its longest
    /// side in millimetres, likeliest first.
    pub possible: Vec<(Unit, f64)>,
}

/// Longest side, in millimetres, of pieces that are cast in a small studio: from the
/// smallest bead or bail to the largest piece that goes into a flask. Common practice, no source.
const CAST_MM: std::ops::RangeInclusive<f64> = 3.0..=300.0;
/// Longest side, in millimetres, of most of them: rings, pendants, keys, handles.
/// Common practice, no source.
const USUAL_MM: std::ops::RangeInclusive<f64> = 9.0..=120.0;

/// Guesses the unit from what the file states and the size of the piece.
///
/// # Assumes
/// A piece that is cast: its longest side lies between 3 and 300 mm. Most files
/// without a stated unit are in millimetres, then inches, centimetres, metres.
///
/// # Accuracy
/// [`Certainty::Sure`] is said when only one unit makes a piece of a size that is cast,
/// or when millimetres make one of a usual size (9 to 120 mm) and inches do not.
#[must_use]
pub fn guess_unit(model: &ModelFile) -> UnitGuess {
    let longest = model.mesh.bounds().as_ref().map_or(0.0, Bounds::longest);
    guess(longest, model.unit)
}

fn guess(longest: f64, stated: Option<Unit>) -> UnitGuess {
    // The order is that of how often they occur in files that do not say.
    let by_habit = [Unit::Millimetre, Unit::Inch, Unit::Centimetre, Unit::Metre];
    let side = |unit: Unit| longest * unit.in_millimetres();
    let mut possible: Vec<(Unit, f64)> = by_habit
        .into_iter()
        .chain(stated.filter(|unit| !by_habit.contains(unit)))
        .map(|unit| (unit, side(unit)))
        .filter(|(_, mm)| CAST_MM.contains(mm))
        .collect();
    let rare = |unit: Unit| !matches!(unit, Unit::Millimetre | Unit::Inch);
    possible.sort_by_key(|&(unit, mm)| (Some(unit) != stated, rare(unit), !USUAL_MM.contains(&mm)));

    if let Some(unit) = stated {
        let mm = side(unit);
        let (certainty, reason) = if CAST_MM.contains(&mm) {
            (
                Certainty::Stated,
                format!("The file says {unit}; its longest side is then {}.", shown(mm)),
            )
        } else {
            (
                Certainty::Ask,
                format!(
                    "The file says {unit}, but its longest side would then be {}, an unlikely size for a casting.",
                    shown(mm)
                ),
            )
        };
        return UnitGuess { unit, certainty, reason: reason.into(), possible };
    }
    let sides = |list: &[(Unit, f64)]| {
        let each: Vec<String> =
            list.iter().map(|(unit, mm)| format!("{} in {unit}", shown(*mm))).collect();
        each.join(", ")
    };
    match possible.as_slice() {
        [] => UnitGuess {
            unit: Unit::Millimetre,
            certainty: Certainty::Ask,
            reason: format!(
                "The file states no unit, and in none of the usual ones is its longest side between {} and {} mm: {}.",
                CAST_MM.start(),
                CAST_MM.end(),
                sides(&by_habit.map(|unit| (unit, side(unit))))
            )
            .into(),
            possible,
        },
        [(unit, mm)] => UnitGuess {
            unit: *unit,
            certainty: Certainty::Sure,
            reason: format!(
                "The file states no unit; only in {unit} is it of a size that is cast (longest side {}).",
                shown(*mm)
            )
            .into(),
            possible,
        },
        [(Unit::Millimetre, mm), others @ ..]
            if USUAL_MM.contains(mm)
                && !others.iter().any(|(unit, mm)| *unit == Unit::Inch && USUAL_MM.contains(mm)) =>
        {
            UnitGuess {
                unit: Unit::Millimetre,
                certainty: Certainty::Sure,
                reason: format!(
                    "The file states no unit; in millimetres, the usual one, it is of a usual size (longest side {}).",
                    shown(*mm)
                )
                .into(),
                possible,
            }
        }
        [(unit, _), ..] => UnitGuess {
            unit: *unit,
            certainty: Certainty::Ask,
            reason: format!(
                "The file states no unit, and more than one makes a piece that can be cast: its longest side is {}.",
                sides(&possible)
            )
            .into(),
            possible,
        },
    }
}

/// A length for a sentence: three digits are enough to recognise a piece.
fn shown(mm: f64) -> String {
    if mm >= 1.0e6 {
        format!("{:.1} km", mm / 1.0e6)
    } else if mm >= 10_000.0 {
        format!("{:.1} m", mm / 1000.0)
    } else if mm >= 100.0 {
        format!("{mm:.0} mm")
    } else if mm >= 1.0 {
        format!("{mm:.1} mm")
    } else {
        format!("{mm:.3} mm")
    }
}
