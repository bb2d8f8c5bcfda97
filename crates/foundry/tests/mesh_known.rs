//! Solids whose volume, area and shape are known exactly.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::mesh::{Mesh, ProblemKind, measure_mesh};

fn cuboid([x, y, z]: [f64; 3]) -> Mesh {
    let vertices = (0..8)
        .map(|i| {
            let at = |bit: usize, size: f64| if i >> bit & 1 == 1 { size } else { 0.0 };
            [at(0, x), at(1, y), at(2, z)]
        })
        .collect();
    let quads =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let triangles = quads.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).collect();
    Mesh::new(vertices, triangles).unwrap()
}

#[test]
fn a_cuboid_has_its_volume_and_area() {
    let measure = measure_mesh(&cuboid([2.0, 3.0, 4.0])).unwrap();
    assert_eq!(measure.volume.unwrap().get(), 24.0);
    assert_eq!(measure.area.get(), 52.0);
    assert_eq!(measure.centre_of_mass, Some([1.0, 1.5, 2.0]));
    assert!(measure.closed);
    assert_eq!((measure.euler, measure.handles, measure.shell_count), (2, Some(0), 1));
    assert!(measure.problems.is_empty(), "{:?}", measure.problems);
}

#[test]
fn a_missing_facet_leaves_no_volume() {
    let whole = cuboid([2.0, 3.0, 4.0]);
    let open = Mesh::new(whole.vertices().to_vec(), whole.triangles()[1..].to_vec()).unwrap();
    let measure = measure_mesh(&open).unwrap();
    assert!(!measure.closed && measure.volume.is_none() && measure.centre_of_mass.is_none());
    assert!(measure.has(ProblemKind::OpenEdges));
}

#[test]
fn overlapping_and_nested_cuboids_are_told_apart() {
    let big = cuboid([10.0; 3]);
    let hollow = cuboid([4.0; 3]).moved([3.0; 3]).unwrap();
    let judged = |inner: &Mesh| measure_mesh(&big.joined(inner).unwrap()).unwrap();

    let void = judged(&hollow.flipped());
    assert_eq!(void.volume.unwrap().get(), 936.0);
    assert!(void.has(ProblemKind::EnclosedVoid));

    let nested = judged(&hollow);
    assert_eq!(nested.volume.unwrap().get(), 1000.0);
    assert!(nested.has(ProblemKind::NestedSolid));

    let shifted = judged(&big.moved([5.0, 0.0, 0.0]).unwrap());
    assert!(shifted.has(ProblemKind::OverlappingShells));
    let askew = judged(&hollow.moved([6.0, 5.5, 5.0]).unwrap());
    assert!(askew.has(ProblemKind::OverlappingShells));

    let beside = judged(&big.moved([10.0, 1.0, 1.0]).unwrap());
    assert!(!beside.has(ProblemKind::OverlappingShells) && beside.has(ProblemKind::SeparateBodies));
    assert_eq!(beside.volume.unwrap().get(), 2000.0);
}
