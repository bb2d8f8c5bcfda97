//! Freezing against the same scheme written a second time.
#![allow(clippy::unwrap_used, reason = "a test may stop at a surprise")]

mod freeze_shapes;

use std::ops::ControlFlow;

use foundry::freeze::{Grid, Shape, Voxels, Within, freeze};
use freeze_shapes::{block_and_bar, sterling};

/// Figures printed by `python3 tests/outside/freeze_numpy.py` with Python
/// 3.11.7 and NumPy 2.4.6, settled to 2 µK; the crate settles each step to
/// about 2 mK.
#[test]
fn a_block_with_a_bar_freezes_as_in_numpy() {
    let mesh = block_and_bar();
    let shape = Shape { vertices_mm: &mesh.0, triangles: &mesh.1, rods: &[] };
    let grid = Grid::new([0.0; 3], [128; 3], 0.5).unwrap();
    let voxels = Voxels::cut(&shape, grid).unwrap();
    assert!((voxels.metal_mm3() - (512.0 + 9.0 * 16.0)).abs() < 0.01);
    let freezing =
        freeze(&voxels, &sterling(), Within::Usual, &mut |_| ControlFlow::Continue(())).unwrap();
    for (cell, seconds) in [
        ([63, 63, 63], 15.6762),
        ([75, 63, 63], 13.4414),
        ([85, 63, 63], 9.3613),
        ([103, 63, 63], 6.4206),
    ] {
        let index = grid.index(cell) as u32;
        let voxel = freezing.voxels.iter().find(|v| v.index == index).unwrap();
        let ratio = f64::from(voxel.feeds_until_s) / seconds;
        assert!((ratio - 1.0).abs() < 5e-4, "{cell:?}: {ratio} of NumPy's time");
    }
    assert!((freezing.piece_solid_s() / 27.7320 - 1.0).abs() < 1e-3);
    assert_eq!(freezing.steps, 320);
}
