//! What is read off a model file: measurements, picture, outline.

use std::borrow::Cow;

use axum::body::Bytes;
use foundry::mesh::render::{RenderOptions, render};
use foundry::mesh::{self, Certainty, Limits, Unit};

use crate::jobs;
use crate::json::measure::{ProblemJson, code};
use crate::web::Fault;

/// A picture twice as sharp as it is shown.
const PICTURE_PIXELS: u32 = 480;

/// Everything that is kept about a model besides the file itself. Lengths are in
/// millimetres, or in the file's own numbers as long as nobody knows the unit.
#[derive(Clone, Debug)]
pub(super) struct Reading {
    pub(super) format: String,
    pub(super) unit: Option<&'static str>,
    pub(super) unit_origin: &'static str,
    pub(super) unit_reason: String,
    pub(super) triangles: i64,
    pub(super) shells: i32,
    pub(super) closed: bool,
    pub(super) volume_mm3: Option<f64>,
    pub(super) area_mm2: f64,
    pub(super) box_mm: [f64; 3],
    pub(super) problems: Vec<ProblemJson>,
    pub(super) footprint: Vec<[f64; 2]>,
    pub(super) picture_png: Vec<u8>,
}

/// Reads and measures a model away from the threads that answer requests; the
/// inner error is the sentence for the person who sent it.
pub(super) async fn take(
    bytes: Bytes,
    name: String,
    largest: usize,
    told: Option<Unit>,
) -> Result<Result<Reading, String>, Fault> {
    jobs::aside(move || read(&bytes, &name, largest, told))
        .await
        .map_err(|broken| Fault::Unforeseen(broken.into()))
}

fn read(bytes: &[u8], name: &str, largest: usize, told: Option<Unit>) -> Result<Reading, String> {
    let limits = Limits { file_bytes: largest, ..Limits::default() };
    let model = mesh::read_within(bytes, name, &limits).map_err(|why| why.to_string())?;
    let guess = mesh::guess_unit(&model);
    let (unit, unit_origin, unit_reason) = match (told, guess.certainty) {
        (Some(unit), _) => (Some(unit), "told", "As told.".to_owned()),
        (None, Certainty::Stated) => (Some(guess.unit), "file", guess.reason.into_owned()),
        (None, Certainty::Sure) => (Some(guess.unit), "guessed", guess.reason.into_owned()),
        (None, Certainty::Ask) => (None, "guessed", guess.reason.into_owned()),
    };
    let in_unit = match unit {
        None | Some(Unit::Millimetre) => Cow::Borrowed(&model.mesh),
        Some(other) => Cow::Owned(model.in_millimetres(other).map_err(|why| why.to_string())?),
    };
    let options =
        RenderOptions { width: PICTURE_PIXELS, height: PICTURE_PIXELS, ..RenderOptions::default() };
    // None needs the other, and somebody waits.
    let (measure, (picture_png, footprint)) = rayon::join(
        || mesh::measure_mesh(&in_unit),
        || (render(&in_unit, &options).png(), mesh::silhouette_xy(&in_unit)),
    );
    let measure = measure.map_err(|why| why.to_string())?;
    Ok(Reading {
        format: model.format.to_string(),
        unit: unit.map(code),
        unit_origin,
        unit_reason,
        triangles: i64::try_from(measure.triangles).unwrap_or(i64::MAX),
        shells: i32::try_from(measure.shell_count).unwrap_or(i32::MAX),
        closed: measure.closed,
        volume_mm3: measure.volume.map(|volume| volume.get()).filter(|volume| *volume > 0.0),
        area_mm2: measure.area.get(),
        box_mm: measure.size.map(|side| side.get()),
        problems: measure.problems.iter().map(ProblemJson::from).collect(),
        footprint,
        picture_png,
    })
}
