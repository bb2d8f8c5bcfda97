//! The written shape of pieces on printer's plates.

use serde::Serialize;

/// Plates, the first to be printed first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlatesJson {
    /// Each is one run of the printer.
    pub plates: Vec<PlateJson>,
    /// Pieces that go on no plate, and why.
    pub left: Vec<LeftJson>,
    /// The edge of a cell of the packing.
    pub pitch_mm: f64,
    /// How long it took.
    pub wall_seconds: f64,
}

/// One run of the printer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlateJson {
    /// What stands on it.
    pub pieces: Vec<OnPlateJson>,
    /// From the plate to the top of the highest piece, supports included.
    pub height_mm: f64,
    /// Share of the plate's face that is covered.
    pub covered: f64,
    /// Layers.
    pub layers: u32,
    /// Time on the printer.
    pub minutes: f64,
    /// Resin with supports and what stays behind; none when a model is open.
    pub resin_ml: Option<f64>,
    /// What that resin costs, where a price was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resin_cost: Option<f64>,
}

/// A piece on a plate. The model is tipped so that `up` is above, turned anticlockwise, and moved
/// so that the box round it begins at `x_mm`, `y_mm`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OnPlateJson {
    /// Its file.
    pub file: String,
    /// Which of the copies of its file, from one.
    pub copy: usize,
    /// The direction of the model that is above: +z, -z, +x, -x, +y, -y.
    pub up: &'static str,
    /// Turned about the vertical.
    pub turn_deg: f64,
    /// From the left edge.
    pub x_mm: f64,
    /// From the front edge.
    pub y_mm: f64,
    /// The box round it: x, y, z.
    pub size_mm: [f64; 3],
}

/// A piece that was left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeftJson {
    /// Its file.
    pub file: String,
    /// Which of the copies of its file, from one.
    pub copy: usize,
    /// Why.
    pub why: String,
}
