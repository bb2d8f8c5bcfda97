//! The model as the analyses see it, and as it travels to a browser.

use foundry::mesh::{
    Coarse, Limits, Mesh, RepairOptions, Repaired, Unit, coarse, read_within, repair,
};
use serde::{Deserialize, Serialize};

use crate::id::FileId;

/// Facets of a surface for looking at, at most.
const MOST_FACETS: usize = 160_000;
/// Steps in which coordinates and fields are written.
const STEPS: f64 = 65_534.0;
/// Stands for a point without a value.
const NONE: u16 = u16::MAX;

/// Which model is looked at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ModelOf {
    /// Its file.
    pub file: FileId,
    /// The digest of the file's content.
    pub digest: String,
    /// The file's name.
    pub name: String,
    /// The unit of its numbers.
    pub unit: String,
}

/// Reads a model in millimetres and repairs what can be repaired safely.
pub(super) fn repaired(bytes: &[u8], model: &ModelOf, largest: usize) -> Result<Repaired, String> {
    let limits = Limits { file_bytes: largest, ..Limits::default() };
    let file = read_within(bytes, &model.name, &limits).map_err(|why| why.to_string())?;
    let unit = Unit::from_name(&model.unit)
        .ok_or_else(|| "Say first which size the model has.".to_owned())?;
    let mesh = file.in_millimetres(unit).map_err(|why| why.to_string())?;
    drop(file);
    Ok(repair(&mesh, &RepairOptions::default()))
}

/// The surface that is shown. Fields from different analyses of one model fit it, for it depends
/// on the model alone.
pub(super) fn shown(mesh: &Mesh) -> Coarse {
    coarse(mesh, MOST_FACETS)
}

/// Writes a surface with fields over its points, little endian: `PDS1`; the numbers of points,
/// facets and fields as u32; the corner of the box with the least coordinates and its sides as
/// six f32; three u16 for each point, in steps of the side; three u32 for each facet; then the
/// fields as [`field`] writes them. Everything stands at a multiple of four bytes.
pub(super) fn surface(mesh: &Mesh, fields: &[&[f32]]) -> Vec<u8> {
    let (points, facets) = (mesh.vertices(), mesh.triangles());
    let bounds = mesh.bounds();
    let least = bounds.map_or([0.0; 3], |bounds| bounds.least);
    let sides = bounds.map_or([0.0; 3], |bounds| bounds.size());
    let mut out = Vec::with_capacity(40 + points.len() * 8 + facets.len() * 12);
    out.extend_from_slice(b"PDS1");
    for count in [points.len(), facets.len(), fields.len()] {
        out.extend_from_slice(&(count as u32).to_le_bytes());
    }
    for number in least.into_iter().chain(sides) {
        out.extend_from_slice(&(number as f32).to_le_bytes());
    }
    for point in points {
        for axis in 0..3 {
            let share = (point[axis] - least[axis]) / sides[axis].max(f64::MIN_POSITIVE);
            out.extend_from_slice(&((share.clamp(0.0, 1.0) * STEPS).round() as u16).to_le_bytes());
        }
    }
    pad(&mut out);
    facets.as_flattened().iter().for_each(|index| out.extend_from_slice(&index.to_le_bytes()));
    fields.iter().for_each(|values| write_field(&mut out, values));
    out
}

/// Writes one field: the number of values as u32, the least and the greatest as f32, then a u16
/// for each in steps between them; the highest number stands for none.
pub(super) fn field(values: &[f32]) -> Vec<u8> {
    let mut out = b"PDF1".to_vec();
    write_field(&mut out, values);
    out
}

fn write_field(out: &mut Vec<u8>, values: &[f32]) {
    let (least, greatest) = ends(values).unwrap_or((0.0, 0.0));
    out.extend_from_slice(&(values.len() as u32).to_le_bytes());
    out.extend_from_slice(&least.to_le_bytes());
    out.extend_from_slice(&greatest.to_le_bytes());
    let span = f64::from(greatest - least).max(f64::MIN_POSITIVE);
    for &value in values {
        let step = if value.is_finite() {
            (f64::from(value - least) / span * STEPS).round() as u16
        } else {
            NONE
        };
        out.extend_from_slice(&step.to_le_bytes());
    }
    pad(out);
}

fn pad(out: &mut Vec<u8>) {
    out.resize(out.len().next_multiple_of(4), 0);
}

/// The least and the greatest value.
pub(super) fn ends(values: &[f32]) -> Option<(f32, f32)> {
    let finite = || values.iter().copied().filter(|value| value.is_finite());
    finite().next()?;
    Some((finite().fold(f32::INFINITY, f32::min), finite().fold(f32::NEG_INFINITY, f32::max)))
}

/// Gives points that nobody looked at the mean of their neighbours, ring by ring; only for
/// surfaces with so many facets that only some were looked at.
pub(super) fn filled_in(mesh: &Mesh, mut values: Vec<f32>) -> Vec<f32> {
    const RINGS: usize = 12;
    for _ in 0..RINGS {
        if values.iter().all(|value| value.is_finite()) {
            break;
        }
        let mut sums = vec![(0.0_f32, 0_u32); values.len()];
        for triangle in mesh.triangles() {
            for corner in 0..3 {
                let (at, beside) = (triangle[corner] as usize, triangle[(corner + 1) % 3] as usize);
                for (to, from) in [(at, beside), (beside, at)] {
                    if values[from].is_finite() {
                        sums[to].0 += values[from];
                        sums[to].1 += 1;
                    }
                }
            }
        }
        for (value, (sum, count)) in values.iter_mut().zip(sums) {
            if !value.is_finite() && count > 0 {
                *value = sum / count as f32;
            }
        }
    }
    values
}

#[cfg(test)]
mod tests {
    use super::{ends, field, filled_in, surface};
    use foundry::shapes::solid;

    #[test]
    fn a_field_keeps_its_values_within_a_step_and_says_where_there_is_none() {
        let bytes = field(&[1.0, f32::INFINITY, 3.0, 2.0]);
        assert_eq!(&bytes[..4], b"PDF1");
        assert_eq!(bytes.len() % 4, 0);
        let step = |n: usize| u16::from_le_bytes([bytes[16 + 2 * n], bytes[17 + 2 * n]]);
        assert_eq!([step(0), step(1), step(2)], [0, u16::MAX, 65_534]);
        let back = 1.0 + f64::from(step(3)) / 65_534.0 * 2.0;
        assert!((back - 2.0).abs() < 1.0e-4, "{back}");
    }

    #[test]
    fn a_surface_is_as_long_as_its_description_says() {
        let block = solid::cuboid([1.0, 2.0, 3.0]);
        let values = [0.5_f32; 8];
        let bytes = surface(&block, &[&values]);
        assert_eq!(bytes.len(), 40 + 8 * 6 + 12 * 12 + 12 + 8 * 2);
    }

    #[test]
    fn gaps_in_a_field_are_closed_from_the_sides() {
        let ball = solid::ball(1.0, 24);
        let mut values = vec![f32::INFINITY; ball.vertices().len()];
        values[0] = 2.0;
        let closed = filled_in(&ball, values);
        assert_eq!(ends(&closed), Some((2.0, 2.0)));
        assert!(closed.iter().all(|value| value.is_finite()));
    }
}
