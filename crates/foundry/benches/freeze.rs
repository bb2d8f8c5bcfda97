//! How long freezing takes.
#![allow(clippy::unwrap_used, reason = "a benchmark may stop at a surprise")]

#[path = "../tests/freeze_shapes/mod.rs"]
mod freeze_shapes;

use std::ops::ControlFlow;

use foundry::freeze::{
    Conditions, FeedCase, Grid, Shape, Sprue, Voxels, Within, feed, freeze, heat_of,
};

fn main() {
    divan::main();
}

/// The case of `tests/outside/freeze_numpy.py`, voxels cut anew each time.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn block_and_bar_of_128_voxels_cubed() -> f64 {
    let mesh = freeze_shapes::block_and_bar();
    let shape = Shape { vertices_mm: &mesh.0, triangles: &mesh.1, rods: &[] };
    let grid = Grid::new([0.0; 3], [128; 3], 0.5).unwrap();
    let voxels = Voxels::cut(&shape, grid).unwrap();
    let conditions = freeze_shapes::sterling();
    let go = &mut |_| ControlFlow::Continue(());
    freeze(&voxels, &conditions, Within::Usual, go).unwrap().piece_solid_s()
}

/// The first answer for a ring with a head and one sprue.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn first_answer_for_a_ring() -> bool {
    let mesh = freeze_shapes::ring(11.0, |u| {
        let from_head = u.min(std::f64::consts::TAU - u);
        1.0 + 1.4 * (-(from_head / 0.45_f64).powi(2)).exp()
    });
    let conditions = Conditions::usual(heat_of("silicon bronze").unwrap());
    let mut case = FeedCase::new(&mesh.0, &mesh.1, conditions);
    case.sprues =
        vec![Sprue { at_mm: [-12.0, 0.0, 0.0], diameter_mm: 3.0, length_mm: 8.0, direction: None }];
    feed(&case, &mut |_| ControlFlow::Continue(())).unwrap().enough
}
