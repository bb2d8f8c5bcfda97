//! The tree map: outlines of the pieces from above, and as seen on the way around the tree.

use super::flask::OnTree;
use super::raster::{borders, raster};
use super::refusal::{PackRefusal, within};
use crate::mesh::Mesh;

/// A piece as the tree map draws it: closed loops, those round holes clockwise.
#[derive(Debug, Clone, PartialEq)]
pub struct TreeOutline {
    /// Direction of the piece from the flask's axis, anticlockwise from x: where on the unrolled
    /// map it is drawn.
    pub azimuth_deg: f64,
    /// From above: x and y of the flask.
    pub above: Vec<Vec<[f64; 2]>>,
    /// As seen by who walks around the tree, in front of the piece: how far to the right of its
    /// azimuth, and how far above the base.
    pub side: Vec<Vec<[f64; 2]>>,
}

/// Draws a piece of a tree.
///
/// # Units
/// Millimetres, to scale.
///
/// # Accuracy
/// Within a cell.
///
/// # Refuses
/// A mesh without facets, a cell that is none.
pub fn tree_outline(mesh: &Mesh, on: &OnTree, pitch_mm: f64) -> Result<TreeOutline, PackRefusal> {
    within("the edge of a cell", pitch_mm, 0.02, 10.0)?;
    if mesh.is_empty() {
        return Err(PackRefusal::NoModel { model: 0 });
    }
    let [x, y, _] = on.runner.to_mm;
    // A piece on the tip has no direction of its own.
    let azimuth_deg = if x.hypot(y) < 0.5 { on.azimuth_deg } else { y.atan2(x).to_degrees() };
    let (sin, cos) = azimuth_deg.to_radians().sin_cos();
    let above = |p: [f64; 3]| [p[0], p[1]];
    let around = |p: [f64; 3]| [cos * p[1] - sin * p[0], p[2]];
    Ok(TreeOutline {
        azimuth_deg: azimuth_deg.rem_euclid(360.0),
        above: seen(mesh, on, pitch_mm, above),
        side: seen(mesh, on, pitch_mm, around),
    })
}

fn seen(
    mesh: &Mesh,
    on: &OnTree,
    pitch_mm: f64,
    flat: impl Fn([f64; 3]) -> [f64; 2],
) -> Vec<Vec<[f64; 2]>> {
    let facets: Vec<[[f64; 2]; 3]> =
        mesh.facets().map(|facet| facet.map(|p| flat(on.placed(p)))).collect();
    let all = || facets.iter().flatten();
    let least: [f64; 2] =
        std::array::from_fn(|axis| all().map(|p| p[axis]).fold(f64::INFINITY, f64::min));
    let greatest: [f64; 2] =
        std::array::from_fn(|axis| all().map(|p| p[axis]).fold(f64::NEG_INFINITY, f64::max));
    let mask = raster(facets.iter().copied(), least, greatest, pitch_mm);
    let place = |p: [f64; 2]| [least[0] + p[0] * pitch_mm, least[1] + p[1] * pitch_mm];
    borders(&mask).into_iter().map(|border| border.into_iter().map(place).collect()).collect()
}
