//! The outline of a model seen from above.

use super::Mesh;

/// The convex outline of a mesh on the plane z = 0, anticlockwise, in millimetres.
///
/// No three points lie on a line. Fewer than three points mean that the mesh is empty, or
/// upright and flat.
///
/// # Source
/// A. M. Andrew, Another efficient algorithm for convex hulls in two dimensions,
/// Information Processing Letters 9(5), 1979 (from memory).
#[must_use]
pub fn silhouette_xy(mesh: &Mesh) -> Vec<[f64; 2]> {
    let mut used = vec![false; mesh.vertices().len()];
    mesh.triangles().iter().flatten().for_each(|&index| used[index as usize] = true);
    let seen = mesh.vertices().iter().zip(used).filter(|(_, used)| *used);
    let mut points: Vec<[f64; 2]> = seen.map(|([x, y, _], _)| [*x, *y]).collect();
    points.sort_unstable_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let mut outline = half_outline(points.iter().copied());
    let back = half_outline(points.iter().rev().copied());
    outline.pop();
    outline.extend(&back[..back.len() - 1]);
    outline
}

/// The right-hand border of points that come sorted, from the first to the last.
fn half_outline(points: impl Iterator<Item = [f64; 2]>) -> Vec<[f64; 2]> {
    let mut border: Vec<[f64; 2]> = Vec::new();
    for point in points {
        while let [.., a, b] = border.as_slice() {
            let turn = (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0]);
            if turn > 0.0 {
                break;
            }
            border.pop();
        }
        border.push(point);
    }
    border
}
