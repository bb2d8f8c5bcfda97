//! The union of bodies that cut through each other, against independent counts.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::mesh::{Mesh, Point, ProblemKind, UnionRefusal, measure_mesh, union};
use foundry::shapes::{Piece, solid};
use proptest::prelude::*;

fn joined(bodies: &[Mesh]) -> Mesh {
    bodies.iter().fold(Mesh::default(), |all, body| all.joined(body).unwrap())
}

fn block(least: [i32; 3], size: [i32; 3]) -> Mesh {
    solid::cuboid(size.map(f64::from)).moved(least.map(f64::from)).unwrap()
}

/// Counts the unit cells that lie in any of the blocks, and the cell faces between in and out.
fn counted(blocks: &[([i32; 3], [i32; 3])]) -> (i32, i32) {
    let holds = |cell: [i32; 3]| {
        blocks.iter().any(|(least, size)| {
            (0..3).all(|axis| (0..size[axis]).contains(&(cell[axis] - least[axis])))
        })
    };
    let (mut cells, mut faces) = (0, 0);
    for x in -9..9 {
        for y in -9..9 {
            for z in -9..9 {
                if holds([x, y, z]) {
                    cells += 1;
                    for (axis, step) in [(0, 1), (0, -1), (1, 1), (1, -1), (2, 1), (2, -1)] {
                        let mut beside = [x, y, z];
                        beside[axis] += step;
                        faces += i32::from(!holds(beside));
                    }
                }
            }
        }
    }
    (cells, faces)
}

fn turned(mesh: &Mesh, angles: [f64; 2]) -> Mesh {
    let [(sa, ca), (sb, cb)] = angles.map(f64::sin_cos);
    mesh.mapped(|[x, y, z]| {
        let (x, y) = (ca * x - sa * y, sa * x + ca * y);
        [x, cb * y - sb * z, sb * y + cb * z]
    })
    .unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Blocks on a grid lie on each other's faces, edges and corners all the time.
    #[test]
    fn blocks_on_a_grid_enclose_the_cells_they_cover(
        blocks in prop::collection::vec(
            (prop::array::uniform3(-3..3_i32), prop::array::uniform3(1..5_i32)), 1..6),
        angles in prop::array::uniform2(prop::sample::select(vec![0.0, 0.3, 1.0])),
    ) {
        let bodies: Vec<Mesh> = blocks.iter().map(|&(least, size)| block(least, size)).collect();
        let mesh = turned(&joined(&bodies), angles);
        let (cells, faces) = counted(&blocks);
        let union = union(&mesh).unwrap();
        let off = (union.volume.get() - f64::from(cells)).abs();
        prop_assert!(off < 1e-6, "{} of {cells} cells", union.volume.get());
        prop_assert!((union.area.get() - f64::from(faces)).abs() < 1e-6);
        prop_assert!(union.error.get() < 1e-3);
        // Measuring finds the same whether the bodies overlap, touch or are apart.
        let measure = measure_mesh(&mesh).unwrap();
        prop_assert!((measure.volume.unwrap().get() - f64::from(cells)).abs() < 1e-6);
        let sum: i32 = blocks.iter().map(|(_, size)| size.iter().product::<i32>()).sum();
        let tells = measure.has(ProblemKind::OverlappingShells)
            || measure.has(ProblemKind::NestedSolid);
        prop_assert_eq!(tells, sum != cells, "{:?}", measure.problems);
    }

    #[test]
    fn the_union_does_not_depend_on_where_and_how_the_bodies_lie(
        shift in prop::array::uniform3(-6.0..6.0_f64),
        angles in prop::array::uniform2(0.0..6.0_f64),
    ) {
        let ball = solid::ball(4.0, 20);
        let bar = solid::cuboid([9.0, 2.0, 3.0]).moved(shift).unwrap();
        let mesh = joined(&[ball, bar]);
        let here = union(&mesh).unwrap().volume.get();
        let there = union(&turned(&mesh, angles).moved([70.0, -9.0, 3.0]).unwrap()).unwrap();
        prop_assert!((there.volume.get() / here - 1.0).abs() < 1e-9);
    }
}

#[test]
fn two_crossing_bars_share_their_middle() {
    // Two square bars 2 x 2 x 10 at right angles share a cube: 40 + 40 - 8.
    let bar = solid::cuboid([10.0, 2.0, 2.0]).moved([-5.0, -1.0, -1.0]).unwrap();
    let upright = bar.mapped(|[x, y, z]| [-z, y, x]).unwrap();
    let union = union(&joined(&[bar.clone(), upright.clone()])).unwrap();
    assert!((union.volume.get() - 72.0).abs() < 1e-9);
    for centre in union.centre_of_mass.unwrap() {
        assert!(centre.abs() < 1e-9);
    }
    // Turned by 45 degrees about its length, the second bar is a diamond seen along it.
    let (sin, cos) = std::f64::consts::FRAC_PI_4.sin_cos();
    let edgewise = upright.mapped(|[x, y, z]| [cos * x - sin * y, sin * x + cos * y, z]).unwrap();
    // In the plane of each y from -1 to 1 the first is 2 high, and the diamond shows the width
    // 2 (√2 - |y|): they share 2 ∫ 2 (√2 - |y|) dy.
    let shared = 2.0 * 2.0 * (2.0 * std::f64::consts::SQRT_2 - 1.0);
    let volume = united_volume(&[bar, edgewise]);
    assert!((volume - (80.0 - shared)).abs() < 1e-9, "{volume}");
}

fn united_volume(bodies: &[Mesh]) -> f64 {
    union(&joined(bodies)).unwrap().volume.get()
}

#[test]
fn a_surface_that_cuts_through_itself_encloses_what_it_winds_around_once() {
    // A cube whose lid is drawn down to a point below its floor.
    let mesh = solid::cuboid([2.0; 3]);
    let mut vertices = mesh.vertices().to_vec();
    vertices.push([1.0, 1.0, -1.0]);
    let mut triangles: Vec<[u32; 3]> = mesh.triangles().to_vec();
    triangles.retain(|t| !t.iter().all(|&index| vertices[index as usize][2] == 2.0));
    for [from, to] in [[4, 5], [5, 7], [7, 6], [6, 4]] {
        triangles.push([from, to, 8]);
    }
    let spiked = Mesh::new(vertices, triangles).unwrap();
    // The pyramid has volume 4; a third of its height sticks out below and does not count.
    let truth = 8.0 - (4.0 - 4.0 / 27.0);
    let found = union(&spiked).unwrap();
    assert!((found.volume.get() - truth).abs() < 1e-9, "{}", found.volume.get());
    assert!(found.facets_in_contact > 0);
}

#[test]
fn a_body_alone_and_bodies_apart_are_their_own_union() {
    for piece in [Piece::Pendant, Piece::ComfortBand, Piece::HingeLeaf] {
        let mesh = piece.mesh();
        let measure = measure_mesh(&mesh).unwrap();
        let alone = union(&mesh).unwrap();
        assert!((alone.volume.get() / measure.volume.unwrap().get() - 1.0).abs() < 1e-12);
        assert!((alone.area.get() / measure.area.get() - 1.0).abs() < 1e-12);
        assert_eq!(alone.facets_in_contact, 0, "{piece:?}");
        let beside = mesh.moved([100.0, 0.0, 0.0]).unwrap();
        let both = union(&mesh.joined(&beside).unwrap()).unwrap();
        assert!((both.volume.get() / alone.volume.get() / 2.0 - 1.0).abs() < 1e-12);
    }
}

#[test]
fn inclusion_and_exclusion_hold_for_rings_that_cross() {
    // |A ∪ B| + |A ∩ B| = |A| + |B|; the intersection is counted on a grid of points.
    let ring = solid::torus(10.0, 2.0, 128, 64);
    let at = |[x, y, z]: Point| [x + 3.0, z, -y];
    let other = ring.mapped(at).unwrap();
    let inside = |[x, y, z]: Point| (x.hypot(y) - 10.0).hypot(z) < 2.0;
    let step = 0.04;
    let mut shared = 0.0;
    // Both tubes come near each other only where y and z are below 2.4.
    for i in -320..400 {
        for j in -60..60 {
            for k in -60..60 {
                let point = [f64::from(i) * step, f64::from(j) * step, f64::from(k) * step];
                let [x, y, z] = point;
                if inside(point) && inside([x - 3.0, -z, y]) {
                    shared += step * step * step;
                }
            }
        }
    }
    let single = union(&ring).unwrap().volume.get();
    let both = united_volume(&[ring, other]);
    let missing = 2.0 * single - both;
    // The facets of the tube lie up to 0.0024 mm inside it, of a lens 1 mm deep.
    assert!(shared > 1.0 && (missing / shared - 1.0).abs() < 0.015, "{missing} against {shared}");
}

#[test]
fn an_open_surface_has_no_union() {
    let cube = solid::cuboid([1.0; 3]);
    let open = Mesh::new(cube.vertices().to_vec(), cube.triangles()[1..].to_vec()).unwrap();
    assert_eq!(union(&open), Err(UnionRefusal::Open));
    assert_eq!(union(&Mesh::default()), Err(UnionRefusal::Open));
}
