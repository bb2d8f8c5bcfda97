//! The bore of rings.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::mesh::{Bore, Mesh, Point, bore};
use foundry::shapes::{Piece, solid};

/// How near a diameter must come: a thirtieth of the step between neighbouring ring sizes of
/// ISO 8653 (1 mm of circumference, 0.318 mm of diameter).
const NEAR_MM: f64 = 0.01;

fn turned([x, y, z]: Point) -> Point {
    let (sin, cos) = 0.77_f64.sin_cos();
    let (x, z) = (cos * x - sin * z, sin * x + cos * z);
    [x + 12.0, cos * y - sin * z, sin * y + cos * z - 5.0]
}

fn found(mesh: &Mesh) -> Bore {
    bore(mesh).unwrap()
}

#[test]
fn the_rings_have_the_bore_they_were_drawn_with() {
    for piece in [Piece::PlainBand, Piece::ComfortBand, Piece::SignetRing] {
        let truth = piece.bore().unwrap().get();
        let mesh = piece.mesh();
        for mesh in [mesh.mapped(turned).unwrap(), mesh] {
            let bore = found(&mesh);
            let off = bore.diameter.get() - truth;
            assert!(off.abs() < NEAR_MM, "{piece:?}: {bore:?} instead of {truth}");
            assert!(bore.out_of_round.get() < 0.02, "{piece:?}: {bore:?}");
            assert!(bore.coverage > 0.99 && bore.is_closed(), "{piece:?}: {bore:?}");
        }
    }
}

#[test]
fn the_axis_is_found_wherever_it_lies() {
    let tube = solid::tube(8.5, 10.0, 4.0, 96);
    let bore = found(&tube.mapped(turned).unwrap());
    let middle = turned([0.0, 0.0, 2.0]);
    let up = turned([0.0, 0.0, 3.0]);
    let along: f64 = (0..3).map(|k| bore.axis[k] * (up[k] - middle[k])).sum();
    assert!((along.abs() - 1.0).abs() < 1e-9, "{bore:?}");
    for (found, due) in bore.centre.into_iter().zip(middle) {
        assert!((found - due).abs() < 1e-6, "{bore:?}");
    }
    assert!((bore.diameter.get() - 17.0).abs() < 1e-9 && (bore.length.get() - 4.0).abs() < 1e-9);
}

#[test]
fn a_bore_that_is_not_round_says_so() {
    let tube = solid::tube(8.5, 10.0, 4.0, 240);
    let oval = tube.mapped(|[x, y, z]| [x * 1.02, y, z]).unwrap();
    let bore = found(&oval);
    assert!((bore.diameter.get() - 17.0).abs() < NEAR_MM, "{bore:?}");
    assert!((bore.out_of_round.get() - 0.34).abs() < 0.02, "{bore:?}");
}

#[test]
fn a_slit_ring_still_has_its_bore() {
    // Three quarters of a tube: its facets but those of a quarter.
    let tube = solid::tube(8.5, 10.0, 4.0, 120);
    let kept: Vec<[u32; 3]> = tube
        .triangles()
        .iter()
        .filter(|t| !tube.corners(**t).iter().all(|p| p[0] >= -1e-9 && p[1] >= -1e-9))
        .copied()
        .collect();
    let slit = Mesh::new(tube.vertices().to_vec(), kept).unwrap();
    let bore = found(&slit);
    assert!((bore.diameter.get() - 17.0).abs() < NEAR_MM, "{bore:?}");
    assert!((bore.coverage - 0.75).abs() < 0.05, "{bore:?}");
    assert!(!bore.is_closed());
}

/// The curve of a hook goes far around, as a cut ring does: it is told how far, not taken for
/// a ring.
#[test]
fn a_hook_is_no_closed_ring() {
    let bore = bore(&Piece::Hook.mesh());
    assert!(bore.is_none_or(|bore| !bore.is_closed()), "{bore:?}");
}

#[test]
fn pieces_without_a_bore_have_none() {
    for piece in [Piece::Cufflink, Piece::DrawerKnob] {
        assert_eq!(bore(&piece.mesh()), None, "{piece:?}");
    }
    assert_eq!(bore(&solid::ball(5.0, 48)), None);
    assert_eq!(bore(&solid::cylinder(5.0, 10.0, 48)), None);
    assert_eq!(bore(&solid::cuboid([5.0; 3])), None);
    assert_eq!(bore(&Mesh::default()), None);
}

#[test]
fn the_widest_of_several_is_told() {
    let key = found(&Piece::InstrumentKey.mesh());
    assert!((key.diameter.get() - 2.7).abs() < 0.03, "{key:?}");
    assert!(key.axis[1].abs() > 0.999, "the hinge tube, not the cup, which is closed: {key:?}");
}
