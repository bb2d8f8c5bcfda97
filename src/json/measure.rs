//! The written shape of a measured model.

use foundry::mesh::{Bounds, Gravity, Measure, Point, Problem, Spot, Unit};
use serde::{Deserialize, Serialize};

use super::examined::ExaminedJson;

/// What was measured on a model file; lengths in millimetres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeasureJson {
    /// The file's name.
    pub file: String,
    /// How many triangles it has.
    pub triangles: usize,
    /// The unit its numbers were taken to be in.
    pub unit: String,
    /// Whether that unit was stated or leaves no doubt.
    pub unit_certain: bool,
    /// Why this unit.
    pub unit_reason: String,
    /// Whether the surface is closed.
    pub closed: bool,
    /// The volume; none when the surface is open.
    pub volume_mm3: Option<f64>,
    /// The area of the surface.
    pub area_mm2: f64,
    /// The sides of the box around it: x, y, z.
    pub box_mm: [f64; 3],
    /// How many separate surfaces.
    pub shells: usize,
    /// What is wrong with it, gravest first.
    pub problems: Vec<ProblemJson>,
    /// What a closer look finds, where one was taken.
    #[serde(flatten)]
    pub examined: Option<ExaminedJson>,
}

impl MeasureJson {
    /// Writes down a measurement.
    #[must_use]
    pub fn new(file: &str, unit: Unit, certain: bool, reason: &str, measure: &Measure) -> Self {
        Self {
            file: file.to_owned(),
            triangles: measure.triangles,
            unit: code(unit).to_owned(),
            unit_certain: certain,
            unit_reason: reason.to_owned(),
            closed: measure.closed,
            volume_mm3: measure.volume.map(|volume| volume.get()),
            area_mm2: measure.area.get(),
            box_mm: measure.size.map(|side| side.get()),
            shells: measure.shell_count,
            problems: measure.problems.iter().map(ProblemJson::from).collect(),
            examined: None,
        }
    }
}

/// A finding about a model.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProblemJson {
    /// A short name, such as `open_edges`.
    pub code: String,
    /// `blocking`, `doubtful` or `note`.
    pub gravity: String,
    /// How many.
    pub count: usize,
    /// What it means for the piece.
    pub meaning: String,
    /// What to do about it.
    pub remedy: String,
    /// The corner of the box around the places with the least x, y and z.
    pub from_mm: Point,
    /// The opposite corner; the same when it is one point.
    pub to_mm: Point,
}

impl From<&Problem> for ProblemJson {
    fn from(problem: &Problem) -> Self {
        let (from_mm, to_mm) = match problem.spot {
            Spot::At(point) => (point, point),
            Spot::Within(Bounds { least, greatest }) => (least, greatest),
        };
        Self {
            code: problem.kind.code().to_owned(),
            gravity: gravity(problem.kind.gravity()).to_owned(),
            count: problem.count,
            meaning: problem.kind.meaning().to_owned(),
            remedy: problem.kind.remedy().to_owned(),
            from_mm,
            to_mm,
        }
    }
}

const fn gravity(gravity: Gravity) -> &'static str {
    match gravity {
        Gravity::Blocking => "blocking",
        Gravity::Doubtful => "doubtful",
        Gravity::Note => "note",
    }
}

/// The word for a unit in written shapes and in the database.
#[must_use]
pub const fn code(unit: Unit) -> &'static str {
    match unit {
        Unit::Micron => "micron",
        Unit::Millimetre => "mm",
        Unit::Centimetre => "cm",
        Unit::Inch => "inch",
        Unit::Foot => "foot",
        Unit::Metre => "m",
    }
}
