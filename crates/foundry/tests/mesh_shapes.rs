//! The sample pieces and their faults.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::mesh::{Measure, Mesh, ProblemKind, Unit, measure_mesh};
use foundry::shapes::{Fault, Piece, net, solid};

fn measured(mesh: &Mesh) -> Measure {
    measure_mesh(mesh).unwrap()
}

#[test]
fn every_piece_is_one_closed_body_without_a_finding() {
    for piece in Piece::ALL {
        let mesh = piece.mesh();
        let measure = measured(&mesh);
        let facets = mesh.triangles().len();
        assert!((5_000..=60_000).contains(&facets), "{piece:?} has {facets} facets");
        assert!(measure.closed && measure.shell_count == 1, "{piece:?}");
        let grave: Vec<_> =
            measure.problems.iter().filter(|p| p.kind != ProblemKind::Slivers).collect();
        assert!(grave.is_empty(), "{piece:?}: {grave:?}");
        // Sizes that a small studio casts.
        assert!((12.0..=65.0).contains(&measure.bounds.longest()), "{piece:?}");
    }
}

#[test]
fn pieces_have_the_holes_through_them_that_they_show() {
    let handles = |piece: Piece| measured(&piece.mesh()).handles;
    assert_eq!(handles(Piece::Pendant), Some(1), "the loop");
    assert_eq!(handles(Piece::Cufflink), Some(0));
    assert_eq!(handles(Piece::InstrumentKey), Some(1), "the hinge tube");
    assert_eq!(handles(Piece::HingeLeaf), Some(5), "two knuckles and three screw holes");
    assert_eq!(handles(Piece::Hook), Some(2), "two screw holes");
    assert_eq!(handles(Piece::DrawerKnob), Some(0), "a blind hole is none");
    for ring in [Piece::PlainBand, Piece::ComfortBand, Piece::SignetRing, Piece::LobedBead] {
        assert_eq!(handles(ring), Some(1), "{ring:?}");
    }
}

#[test]
fn the_mesh_of_a_field_encloses_what_counting_points_inside_the_field_gives() {
    for piece in Piece::ALL {
        let Some((field, room)) = piece.field() else { continue };
        // A point anywhere in each cell of a grid; counting knows nothing of meshes.
        let step = 0.23;
        let count = room.size().map(|side| (side / step) as usize + 1);
        let mut seed = 20_u64;
        let mut share = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 33) as f64 / (1_u64 << 31) as f64
        };
        let mut inside = 0_u32;
        for x in 0..count[0] {
            for y in 0..count[1] {
                for z in 0..count[2] {
                    let cell = [x, y, z];
                    let point = std::array::from_fn(|axis| {
                        room.least[axis] + (cell[axis] as f64 + share()) * step
                    });
                    inside += u32::from(field.at(point) < 0.0);
                }
            }
        }
        let counted = f64::from(inside) * step * step * step;
        let volume = measured(&piece.mesh()).volume.unwrap().get();
        assert!((volume / counted - 1.0).abs() < 4.0e-3, "{piece:?}: {volume} against {counted}");
    }
}

#[test]
fn a_finer_net_comes_closer_to_the_piece() {
    let (field, room) = Piece::SignetRing.field().unwrap();
    let volume = |cell| measured(&net(&field, &room, cell).unwrap()).volume.unwrap().get();
    let (coarse, middle, fine) = (volume(0.8), volume(0.4), volume(0.2));
    assert!((middle - fine).abs() < (coarse - fine).abs() / 2.5, "{coarse} {middle} {fine}");
}

#[test]
fn a_field_that_leaves_its_box_is_refused() {
    let (field, mut room) = Piece::Cufflink.field().unwrap();
    room.greatest[0] = 3.0;
    assert!(net(&field, &room, 0.5).is_err());
    assert!(net(&field, &room, 0.0).is_err());
    assert!(net(&field, &room, f64::NAN).is_err());
}

#[test]
fn every_fault_is_found_and_named() {
    let sound = Piece::SignetRing.mesh();
    let truth = measured(&sound).volume.unwrap().get();
    for fault in Fault::ALL {
        let mesh = fault.put_into(&sound, 4711);
        let measure = measured(&mesh);
        let found = match fault {
            Fault::Hole | Fault::Unwelded => ProblemKind::OpenEdges,
            Fault::FlippedFacets => ProblemKind::FlippedFacets,
            Fault::InsideOut => ProblemKind::InsideOut,
            Fault::DoubledFacets => ProblemKind::DoubledFacets,
            Fault::OverlappingShells => ProblemKind::OverlappingShells,
            Fault::EnclosedVoid => ProblemKind::EnclosedVoid,
            Fault::NestedSolid => ProblemKind::NestedSolid,
            Fault::Inches => {
                // Nothing is wrong but the size.
                let inch = Unit::Inch.in_millimetres();
                let volume = measure.volume.unwrap().get() * inch * inch * inch;
                assert!((volume / truth - 1.0).abs() < 1e-12);
                continue;
            }
        };
        assert!(measure.has(found), "{fault:?}: {:?}", measure.problems);
        let volume = measure.volume.map(|volume| volume.get());
        match fault {
            Fault::Hole | Fault::Unwelded => assert_eq!(volume, None),
            Fault::OverlappingShells => {}
            Fault::EnclosedVoid => assert!(volume.unwrap() < truth * 0.999),
            _ => assert!((volume.unwrap() / truth - 1.0).abs() < 1e-12, "{fault:?}"),
        }
    }
}

#[test]
fn the_signet_ring_holds_its_bore() {
    let mesh = Piece::SignetRing.mesh();
    let bore = Piece::SignetRing.bore().unwrap().get();
    let narrowest = mesh.vertices().iter().map(|[x, _, z]| x.hypot(*z)).fold(f64::MAX, f64::min);
    assert!((narrowest * 2.0 / bore - 1.0).abs() < 1e-3, "{narrowest}");
}

#[test]
fn unusable_sizes_make_empty_solids() {
    assert!(solid::ball(f64::NAN, 16).is_empty());
    assert!(solid::cuboid([1.0, f64::INFINITY, 1.0]).is_empty());
}
