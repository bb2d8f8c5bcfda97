//! Walls and gaps of known thickness.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use std::ops::ControlFlow;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use foundry::mesh::{
    Mesh, Spot, Thickness, ThicknessOptions, ThicknessRefusal, gaps, gaps_watched, thickness,
    thickness_watched,
};
use foundry::quantity::Millimetres;
use foundry::shapes::{Fault, Piece, solid};

fn options(limit: f64) -> ThicknessOptions {
    ThicknessOptions { limit: Millimetres::of(limit), places: 20_000 }
}

fn walls(mesh: &Mesh, limit: f64) -> Thickness {
    thickness(mesh, &options(limit)).unwrap()
}

fn assert_close(value: f64, truth: f64, relative: f64) {
    assert!((value / truth - 1.0).abs() <= relative, "{value} instead of {truth}");
}

#[test]
fn a_plate_is_as_thick_as_it_is() {
    let plate = solid::cuboid([20.0, 30.0, 1.5]);
    let walls = walls(&plate, 2.0);
    assert_close(walls.thinnest.unwrap().0.get(), 1.5, 1e-6);
    assert_close(walls.first_percentile.unwrap().get(), 1.5, 1e-6);
    // Both faces and nothing of the rim, which is 20 and 30 mm thick.
    assert_close(walls.area_below.get(), 1200.0, 1e-9);
    assert_eq!(walls.thin_places.len(), 1);
    assert_eq!(walls.area_below.get() / (1200.0 + 150.0), walls.share_below);
    assert!(self::walls(&plate, 1.4).thin_places.is_empty());
}

#[test]
fn a_ball_is_as_thick_as_its_diameter_and_a_tube_as_its_wall() {
    let ball = walls(&solid::ball(5.0, 96), 1.0);
    // Facets lie up to 5 (1 - cos(π/96)) = 0.0027 mm inside; seen from a facet's middle.
    assert_close(ball.first_percentile.unwrap().get(), 10.0, 5e-3);
    assert_close(f64::from(ball.by_ray[50]), 10.0, 5e-3);
    let tube = walls(&solid::tube(8.0, 8.9, 6.0, 128), 1.0);
    assert_close(tube.thinnest.unwrap().0.get(), 0.9, 5e-3);
    // The outside and the inside of the wall, but not its ends.
    let sides = std::f64::consts::TAU * (8.0 + 8.9) * 6.0;
    assert_close(tube.area_below.get(), sides, 2e-3);
    // It is in the wall that it is thinnest, not in the middle of the box around it.
    let [x, y, _] = tube.thin_places[0].thinnest_at;
    assert!((7.9..=9.0).contains(&x.hypot(y)), "{:?}", tube.thin_places[0]);
}

#[test]
fn a_blade_is_thin_at_its_edge_and_a_block_is_not() {
    // A wedge of 30 degrees: thin towards its edge without end.
    let tip = 10.0 * (15.0_f64).to_radians().tan();
    let vertices = vec![
        [0.0, 0.0, 0.0],
        [10.0, -tip, 0.0],
        [10.0, tip, 0.0],
        [0.0, 0.0, 20.0],
        [10.0, -tip, 20.0],
        [10.0, tip, 20.0],
    ];
    let triangles = vec![
        [0, 2, 1],
        [3, 4, 5],
        [0, 1, 4],
        [0, 4, 3],
        [1, 2, 5],
        [1, 5, 4],
        [2, 0, 3],
        [2, 3, 5],
    ];
    let wedge = Mesh::new(vertices, triangles).unwrap();
    let walls = walls(&wedge, 1.0);
    assert!(walls.thinnest.unwrap().0.get() < 0.2);
    // A ball of 1 mm touches both sides 0.5 / tan(15°) from the edge.
    let along = 0.5 / (15.0_f64).to_radians().tan();
    assert_close(walls.area_below.get(), 2.0 * along * 20.0, 0.02);
    assert_eq!(self::walls(&solid::cuboid([3.0; 3]), 2.9).area_below.get(), 0.0);
}

#[test]
fn a_hollow_bead_has_the_wall_between_its_surfaces() {
    let outer = solid::ball(7.0, 128);
    let shifted = solid::ball(6.0, 128).moved([0.4, 0.0, 0.0]).unwrap().flipped();
    let bead = outer.joined(&shifted).unwrap();
    let walls = walls(&bead, 0.8);
    // 7 - 6 - 0.4 on one side, 1.4 on the other.
    assert_close(walls.thinnest.unwrap().0.get(), 0.6, 0.01);
    let (_, at) = walls.thinnest.unwrap();
    assert!(at[0] > 6.0, "{at:?}");
    let Spot::Within(bounds) = walls.thin_places[0].spot else { panic!("a box") };
    assert!(bounds.least[0] > 0.0);
    assert!(walls.by_ball.iter().all(|&t| t < 1.5));
}

#[test]
fn sample_pieces_show_their_thin_walls() {
    let bead = walls(&Piece::LobedBead.mesh(), 1.2);
    // 0.75 mm of wall, a little less towards the squeezed poles.
    assert!((0.6..=0.75).contains(&bead.thinnest.unwrap().0.get()), "{:?}", bead.thinnest);
    assert!(bead.share_below > 0.9);
    // The plain band is 1.8 mm thick but for its eased edges.
    let band = |limit| walls(&Piece::PlainBand.mesh(), limit);
    assert!(band(1.75).share_below < 0.1 && band(1.82).share_below > 0.6);
    assert_eq!(band(0.8).area_below.get(), 0.0);
}

#[test]
fn gaps_are_found_outside_and_walls_inside() {
    let pair = solid::cuboid([10.0, 10.0, 3.0])
        .joined(&solid::cuboid([10.0, 10.0, 3.0]).moved([0.0, 0.0, 3.4]).unwrap())
        .unwrap();
    let found = gaps(&pair, &options(0.5)).unwrap();
    assert_close(found.thinnest.unwrap().0.get(), 0.4, 1e-6);
    assert_close(found.area_below.get(), 200.0, 1e-9);
    assert_close(walls(&pair, 1.0).thinnest.unwrap().0.get(), 3.0, 1e-6);
    let alone = gaps(&solid::cuboid([10.0; 3]), &options(0.5)).unwrap();
    assert_eq!(alone.thinnest, None);
    assert!(alone.by_ball.iter().all(|gap| gap.is_infinite()));
    // The bore of a ring is a gap of its own diameter; beside the middle of a flat facet the
    // ball leans over and is a little smaller.
    let ring = gaps(&solid::tube(8.0, 10.0, 4.0, 96), &options(1.0)).unwrap();
    assert_close(ring.thinnest.unwrap().0.get(), 16.0, 1e-2);
}

#[test]
fn turning_and_refining_change_little() {
    let piece = Piece::InstrumentKey.mesh();
    let here = walls(&piece, 1.0);
    let (sin, cos) = 0.5_f64.sin_cos();
    let turned = piece.mapped(|[x, y, z]| [cos * x - sin * z, y, sin * x + cos * z]).unwrap();
    let there = walls(&turned, 1.0);
    assert_close(there.thinnest.unwrap().0.get(), here.thinnest.unwrap().0.get(), 1e-6);
    assert_close(there.area_below.get(), here.area_below.get(), 1e-3);
}

#[test]
fn open_and_turned_surfaces_are_refused() {
    let ring = Piece::PlainBand.mesh();
    let refused = |fault: Fault| thickness(&fault.put_into(&ring, 1), &options(1.0)).err();
    assert_eq!(refused(Fault::Hole), Some(ThicknessRefusal::Open));
    assert_eq!(refused(Fault::InsideOut), Some(ThicknessRefusal::Turned));
    assert_eq!(refused(Fault::FlippedFacets), Some(ThicknessRefusal::Turned));
    assert_eq!(thickness(&Mesh::default(), &options(1.0)), Err(ThicknessRefusal::Open));
}

#[test]
fn of_many_facets_some_are_looked_at_and_stand_for_all() {
    // 64,000 facets, of which about 4,000 are looked at.
    let ball = solid::ball(5.0, 256);
    let few = ThicknessOptions { limit: Millimetres::of(11.0), places: 2_000 };
    let found = thickness(&ball, &few).unwrap();
    let looked_at = found.by_ball.iter().filter(|ball| ball.is_finite()).count();
    assert!((3_000..20_000).contains(&looked_at), "{looked_at} points");
    assert_close(found.share_below, 1.0, 2e-3);
    assert_close(found.thinnest.unwrap().0.get(), 10.0, 2e-3);
    assert_close(found.first_percentile.unwrap().get(), 10.0, 2e-3);
}

#[test]
fn feeling_tells_how_far_it_is_and_stops_when_asked() {
    let mesh = Piece::ComfortBand.mesh();
    let asked = options(1.0);
    let shares = Mutex::new(Vec::new());
    let watched = thickness_watched(&mesh, &asked, &|share| {
        shares.lock().unwrap().push(share);
        ControlFlow::Continue(())
    });
    assert_eq!(watched, thickness(&mesh, &asked));
    let shares = shares.into_inner().unwrap();
    assert!(shares.len() > 10 && shares.iter().all(|share| (0.0..1.0).contains(share)));
    for felt in [thickness_watched, gaps_watched] {
        let calls = AtomicUsize::new(0);
        let stopped = felt(&mesh, &asked, &|_| {
            calls.fetch_add(1, Ordering::Relaxed);
            ControlFlow::Break(())
        });
        assert_eq!(stopped, Err(ThicknessRefusal::Stopped));
        assert!(calls.into_inner() < shares.len(), "it went on");
    }
}
