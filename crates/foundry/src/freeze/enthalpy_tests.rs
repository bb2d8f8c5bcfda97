#![allow(clippy::unwrap_used, reason = "a test may stop at a surprise")]

use super::super::{Conditions, Grid, Shape, Within, freezing, heat_of};
use super::*;

#[test]
fn no_heat_is_lost_or_made() {
    let vertices: Vec<[f64; 3]> =
        (0..8).map(|i| std::array::from_fn(|a| 3.1 * f64::from(i >> a & 1))).collect();
    let quads =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let triangles: Vec<[u32; 3]> =
        quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    let shape = Shape { vertices_mm: &vertices, triangles: &triangles, rods: &[] };
    let grid = Grid::around([0.0; 3], [3.1; 3], 4.0, 0.5).unwrap();
    let voxels = Voxels::cut(&shape, grid).unwrap();
    let conditions = Conditions::usual(heat_of("sterling").unwrap());
    let numbers = conditions.numbers(Within::Usual).unwrap();
    let mut heat = Heat::new(&voxels, freezing::materials(&numbers), numbers.pour_above_k);
    let poured = heat.total_j();
    for _ in 0..60 {
        heat.step(0.05).unwrap();
    }
    // The plain mould is kept in single precision.
    assert!((heat.total_j() / poured - 1.0).abs() < 1e-5, "{} of {poured}", heat.total_j());
}
