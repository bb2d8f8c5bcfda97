//! Solids whose volume, area and shape are known exactly, and what must not change them.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use std::f64::consts::{PI, TAU};

use foundry::mesh::{
    Certainty, Format, Measure, MeasureRefusal, Mesh, ModelFile, Point, ProblemKind, Unit,
    guess_unit, measure, measure_mesh, silhouette_xy,
};
use foundry::shapes::{Fault, Piece, solid};

/// What sums over some ten thousand facets may lose in double precision.
const ROUNDING: f64 = 1e-12;

fn measured(mesh: &Mesh) -> Measure {
    measure_mesh(mesh).unwrap()
}

fn volume(mesh: &Mesh) -> f64 {
    measured(mesh).volume.unwrap().get()
}

fn assert_close(value: f64, truth: f64, relative: f64) {
    assert!((value / truth - 1.0).abs() <= relative, "{value} instead of {truth}");
}

/// Turned solids of n facets enclose this share of the round one.
fn facet_factor(n: u32) -> f64 {
    let angle = TAU / f64::from(n);
    angle.sin() / angle
}

#[test]
fn a_cuboid_has_its_volume_and_area() {
    let measure = measured(&solid::cuboid([2.0, 3.0, 4.0]));
    assert_eq!(measure.volume.unwrap().get(), 24.0);
    assert_eq!(measure.area.get(), 52.0);
    assert_eq!(measure.centre_of_mass, Some([1.0, 1.5, 2.0]));
    assert_eq!(measure.size.map(|side| side.get()), [2.0, 3.0, 4.0]);
    assert!(measure.closed);
    assert_eq!((measure.euler, measure.handles, measure.shell_count), (2, Some(0), 1));
    assert!(measure.problems.is_empty(), "{:?}", measure.problems);
}

#[test]
fn a_tetrahedron_has_a_sixth_of_its_box() {
    let measure = measured(&solid::tetrahedron([3.0, 2.0, 1.0]));
    assert_close(measure.volume.unwrap().get(), 1.0, ROUNDING);
    for (centre, side) in measure.centre_of_mass.unwrap().into_iter().zip([3.0, 2.0, 1.0]) {
        assert_close(centre, side / 4.0, ROUNDING);
    }
}

#[test]
fn turned_solids_have_the_volume_of_their_facets() {
    for n in [32, 64, 128] {
        let factor = facet_factor(n);
        // The round volumes are the school formulas; r 5, h 12.
        assert_close(volume(&solid::cone(5.0, 12.0, n)), 314.159265359 * factor, 1e-11);
        assert_close(volume(&solid::cylinder(5.0, 12.0, n)), 942.477796077 * factor, 1e-11);
        let band = PI * (10.0_f64.powi(2) - 8.5_f64.powi(2)) * 4.0;
        assert_close(band, 348.716784548, 1e-11);
        assert_close(volume(&solid::tube(8.5, 10.0, 4.0, n)), band * factor, ROUNDING);
    }
    // The factor itself, from the ratio of a regular polygon's area to its circle's.
    assert_close(facet_factor(64), 0.998394393, 1e-9);
}

#[test]
fn a_torus_has_the_volume_of_its_facets() {
    // (M/2) sin(2π/M) r² · R · N sin(2π/N), for R 10 and r 1 (Pappus, with facets both ways).
    for (n, truth) in [(32, 194.868396771), (64, 196.758728671), (128, 197.233595507)] {
        let torus = solid::torus(10.0, 1.0, n, n);
        assert_close(volume(&torus), truth, 1e-11);
        let measure = measured(&torus);
        assert_eq!((measure.euler, measure.handles), (0, Some(1)));
    }
}

#[test]
fn finer_balls_come_to_the_ball_with_the_square_of_the_facets() {
    let truth = 4188.790204786;
    let lack = |n| 1.0 - volume(&solid::ball(10.0, n)) / truth;
    assert!((lack(64) / lack(128) - 4.0).abs() < 0.01);
    assert!(lack(512) < 1e-4);
    // Richardson: what is left when the square is taken out.
    let drawn_out = (4.0 * lack(512) - lack(256)) / 3.0;
    assert!(drawn_out.abs() < 1e-8, "{drawn_out}");
    let area = measured(&solid::ball(10.0, 512)).area.get();
    assert_close(area, 1256.637061436, 1e-4);
}

#[test]
fn turning_and_moving_and_scaling_change_only_what_they_must() {
    let ring = Piece::SignetRing.mesh();
    let truth = measured(&ring);
    let (sin, cos) = 0.7_f64.sin_cos();
    let turn = |[x, y, z]: Point| {
        let [x, y] = [cos * x - sin * y, sin * x + cos * y];
        [cos * x - sin * z, y, sin * x + cos * z]
    };
    let turned = measured(&ring.mapped(turn).unwrap());
    assert_close(turned.volume.unwrap().get(), truth.volume.unwrap().get(), ROUNDING);
    assert_close(turned.area.get(), truth.area.get(), ROUNDING);
    let centre = turn(truth.centre_of_mass.unwrap());
    for (a, b) in turned.centre_of_mass.unwrap().into_iter().zip(centre) {
        assert!((a - b).abs() < 1e-10);
    }
    // Far away the coordinates themselves are rounded, to 1e-13 of a metre and so on.
    for (far, relative) in [(1000.0, 1e-11), (100_000.0, 1e-9)] {
        let moved = measured(&ring.moved([far; 3]).unwrap());
        assert_close(moved.volume.unwrap().get(), truth.volume.unwrap().get(), relative);
    }
    let inch = measured(&ring.scaled(25.4).unwrap());
    assert_close(
        inch.volume.unwrap().get(),
        truth.volume.unwrap().get() * 25.4_f64.powi(3),
        ROUNDING,
    );
}

#[test]
fn facets_inside_out_are_turned_for_the_volume_and_said_so() {
    let ball = solid::ball(5.0, 24);
    let truth = volume(&ball);
    let flipped = measured(&ball.flipped());
    assert_close(flipped.volume.unwrap().get(), truth, ROUNDING);
    assert!(flipped.has(ProblemKind::InsideOut));
    let some = measured(&Fault::FlippedFacets.put_into(&ball, 3));
    assert_close(some.volume.unwrap().get(), truth, ROUNDING);
    assert!(some.has(ProblemKind::FlippedFacets) && some.closed);
}

#[test]
fn refining_flat_facets_changes_nothing() {
    let mut mesh = solid::cuboid([2.0, 3.0, 4.0]);
    for _ in 0..4 {
        mesh = quartered(&mesh);
    }
    let measure = measured(&mesh);
    assert_eq!(measure.triangles, 12 * 256);
    assert_close(measure.volume.unwrap().get(), 24.0, ROUNDING);
    assert_close(measure.area.get(), 52.0, ROUNDING);
    assert!(measure.closed && measure.problems.is_empty());
}

/// Each facet cut into four, without sharing the new points.
fn quartered(mesh: &Mesh) -> Mesh {
    let mut vertices = Vec::new();
    for [a, b, c] in mesh.facets() {
        let middle = |p: Point, q: Point| std::array::from_fn(|k| (p[k] + q[k]) / 2.0);
        let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
        vertices.extend([a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca]);
    }
    let triangles = (0..vertices.len() as u32 / 3).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]).collect();
    Mesh::new(vertices, triangles).unwrap().welded()
}

#[test]
fn an_open_surface_has_no_volume_wherever_it_lies() {
    let whole = solid::cuboid([2.0, 3.0, 4.0]);
    let open = Mesh::new(whole.vertices().to_vec(), whole.triangles()[1..].to_vec()).unwrap();
    for mesh in [open.clone(), open.moved([10.0; 3]).unwrap()] {
        let measure = measured(&mesh);
        assert!(!measure.closed && measure.volume.is_none() && measure.centre_of_mass.is_none());
        assert!(measure.has(ProblemKind::OpenEdges));
        assert_eq!(measure.handles, None);
    }
}

#[test]
fn a_pinhole_leaves_a_volume_with_its_doubt() {
    let ball = solid::ball(10.0, 400);
    let facets = ball.triangles();
    let pricked = Mesh::new(ball.vertices().to_vec(), facets[..facets.len() - 1].to_vec()).unwrap();
    let measure = measured(&pricked);
    let off = (measure.volume.unwrap().get() - volume(&ball)).abs();
    assert!(off <= measure.volume_error.get() && measure.volume_error.get() < 0.1);
    assert!(measure.has(ProblemKind::TinyHoles) && !measure.closed);
}

#[test]
fn a_strip_with_one_side_has_no_volume() {
    // A Möbius strip of five triangles (the classic minimal one).
    let vertices = (0..5)
        .map(|at| {
            let (sin, cos) = (TAU * f64::from(at) / 5.0).sin_cos();
            [cos, sin, f64::from(at % 2)]
        })
        .collect();
    let triangles = (0..5_u32).map(|at| [at, (at + 1) % 5, (at + 2) % 5]).collect();
    let measure = measured(&Mesh::new(vertices, triangles).unwrap());
    assert!(measure.has(ProblemKind::NotOrientable), "{:?}", measure.problems);
    assert!(measure.volume.is_none());
}

#[test]
fn shells_inside_beside_and_through_each_other_are_told_apart() {
    let big = solid::cuboid([10.0; 3]);
    let small = solid::cuboid([4.0; 3]).moved([3.0; 3]).unwrap();
    let with = |inner: &Mesh| measured(&big.joined(inner).unwrap().welded());

    let void = with(&small.flipped());
    assert_eq!(void.volume.unwrap().get(), 936.0);
    assert!(void.has(ProblemKind::EnclosedVoid) && !void.has(ProblemKind::InsideOut));
    let all_turned = measured(&big.joined(&small.flipped()).unwrap().flipped());
    assert_eq!(all_turned.volume.unwrap().get(), 936.0, "inside out with its hollow");
    assert!(all_turned.has(ProblemKind::InsideOut));

    let nested = with(&small);
    assert_eq!(nested.volume.unwrap().get(), 1000.0);
    assert!(nested.has(ProblemKind::NestedSolid));

    let stone = solid::cuboid([1.0; 3]).moved([4.0; 3]).unwrap();
    let in_void = measured(&big.joined(&small.flipped()).unwrap().joined(&stone).unwrap());
    assert_eq!(in_void.volume.unwrap().get(), 937.0, "a body inside the hollow");

    for shift in [[5.0, 0.0, 0.0], [5.0, 5.0, 5.0], [0.0, 0.0, 9.99]] {
        let shifted = with(&big.moved(shift).unwrap());
        assert!(shifted.has(ProblemKind::OverlappingShells), "{shift:?}");
    }
    let askew = with(&small.moved([5.0, 0.5, 0.3]).unwrap());
    assert!(askew.has(ProblemKind::OverlappingShells));

    for shift in
        [[10.0, 0.0, 0.0], [10.0, 1.0, 1.0], [10.0, 10.0, 0.0], [10.0; 3], [30.0, 0.0, 0.0]]
    {
        let beside = with(&big.moved(shift).unwrap());
        assert!(!beside.has(ProblemKind::OverlappingShells), "{shift:?}");
        assert_eq!(beside.volume.unwrap().get(), 2000.0, "{shift:?}");
    }
}

#[test]
fn doubled_facets_and_doubled_bodies_count_once() {
    let ball = solid::ball(5.0, 24);
    let doubled = measured(&Fault::DoubledFacets.put_into(&ball, 0));
    assert_close(doubled.volume.unwrap().get(), volume(&ball), ROUNDING);
    let twice = measured(&ball.joined(&ball).unwrap().welded());
    assert_close(twice.volume.unwrap().get(), volume(&ball), ROUNDING);
    let back_to_back = measured(&ball.joined(&ball.flipped()).unwrap().welded());
    assert!(back_to_back.has(ProblemKind::FlatShells), "{:?}", back_to_back.problems);
}

fn drawn(mesh: Mesh, unit: Option<Unit>) -> ModelFile {
    ModelFile { mesh, format: Format::StlBinary, unit, names: Vec::new(), notes: Vec::new() }
}

#[test]
fn the_unit_changes_the_size_and_nothing_else() {
    let ring = Piece::PlainBand.mesh();
    let in_mm = measure(&drawn(ring.clone(), None), Unit::Millimetre).unwrap();
    for unit in Unit::ALL {
        let model = drawn(ring.scaled(1.0 / unit.in_millimetres()).unwrap(), None);
        let measure = measure(&model, unit).unwrap();
        assert_close(measure.volume.unwrap().get(), in_mm.volume.unwrap().get(), ROUNDING);
    }
}

#[test]
fn a_unit_is_sure_only_where_the_size_leaves_no_other() {
    let ball = |longest: f64, unit| guess_unit(&drawn(solid::ball(longest / 2.0, 64), unit));
    for (longest, unit, certainty) in [
        (22.0, Unit::Millimetre, Certainty::Sure),
        (110.0, Unit::Millimetre, Certainty::Sure),
        (250.0, Unit::Millimetre, Certainty::Sure),
        (6.0, Unit::Millimetre, Certainty::Ask),
        (0.87, Unit::Inch, Certainty::Ask),
        (0.022, Unit::Metre, Certainty::Sure),
        (5000.0, Unit::Millimetre, Certainty::Ask),
    ] {
        let guess = ball(longest, None);
        assert_eq!((guess.unit, guess.certainty), (unit, certainty), "{longest}: {}", guess.reason);
    }
    assert_eq!(ball(0.9, Some(Unit::Inch)).certainty, Certainty::Stated);
    let absurd = ball(22.0, Some(Unit::Metre));
    assert_eq!(absurd.certainty, Certainty::Ask);
    assert!(absurd.reason.contains("22.0 m"), "{}", absurd.reason);
    assert_eq!(ball(22_000.0, Some(Unit::Micron)).certainty, Certainty::Stated);
}

#[test]
fn nothing_and_the_immense_are_refused() {
    assert_eq!(measure_mesh(&Mesh::default()), Err(MeasureRefusal::Empty));
    let model = drawn(solid::cuboid([2000.0; 3]), None);
    assert!(matches!(measure(&model, Unit::Metre), Err(MeasureRefusal::TooLarge { .. })));
    assert!(Mesh::new(vec![[0.0; 3]], vec![[0, 0, 1]]).is_err());
    assert!(Mesh::new(vec![[0.0, 0.0, f64::NAN]], vec![]).is_err());
}

#[test]
fn the_outline_of_a_cuboid_is_its_base() {
    let outline = silhouette_xy(&solid::cuboid([2.0, 3.0, 4.0]));
    assert_eq!(outline, [[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]);
    // The area of the outline of a round body, by the shoelace formula.
    let round = silhouette_xy(&solid::cylinder(5.0, 1.0, 64));
    let area: f64 = (0..round.len())
        .map(|at| {
            let ([ax, ay], [bx, by]) = (round[at], round[(at + 1) % round.len()]);
            (ax * by - ay * bx) / 2.0
        })
        .sum();
    assert_close(area, PI * 25.0 * facet_factor(64), ROUNDING);
}
