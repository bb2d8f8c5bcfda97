//! Repairs: what they set right, what they leave, and that they change nothing else.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::mesh::{
    Change, Measure, Mesh, ProblemKind, RepairOptions, bodies, measure_mesh, repair,
};
use foundry::shapes::{Fault, Piece, solid};

fn measured(mesh: &Mesh) -> Measure {
    measure_mesh(mesh).unwrap()
}

fn repaired(mesh: &Mesh) -> (Measure, Vec<Change>) {
    let repaired = repair(mesh, &RepairOptions::default());
    (measured(&repaired.mesh), repaired.changes)
}

#[test]
fn a_sound_mesh_is_left_as_it_is() {
    for piece in Piece::ALL {
        let mesh = piece.mesh();
        let repaired = repair(&mesh, &RepairOptions::default());
        assert_eq!(repaired.changes, [], "{piece:?}");
        assert_eq!(measured(&repaired.mesh).volume, measured(&mesh).volume);
    }
}

#[test]
fn faults_that_can_be_repaired_are_and_the_volume_is_as_before() {
    let sound = Piece::DrawerKnob.mesh();
    let truth = measured(&sound);
    for fault in Fault::ALL {
        let (after, changes) = repaired(&fault.put_into(&sound, 99));
        let off = after.volume.map(|v| (v.get() / truth.volume.unwrap().get() - 1.0).abs());
        match fault {
            Fault::FlippedFacets => assert!(matches!(changes[..], [Change::Turned { .. }])),
            Fault::InsideOut => assert!(matches!(changes[..], [Change::TurnedOutside { .. }])),
            Fault::DoubledFacets => assert!(matches!(changes[..], [Change::DroppedDoubled { .. }])),
            Fault::Unwelded => {
                assert!(matches!(changes[0], Change::Welded { .. }), "{changes:?}");
                assert!(off.unwrap() < 1e-4);
                assert_eq!(after.shell_count, 1);
                continue;
            }
            Fault::Inches => {
                assert_eq!(changes, []);
                continue;
            }
            // Not for a repair: a wide hole, and what may be meant as it is.
            Fault::Hole => {
                assert!(!after.closed && after.volume.is_none());
                continue;
            }
            Fault::OverlappingShells | Fault::EnclosedVoid | Fault::NestedSolid => {
                assert_eq!(changes, [], "{fault:?}");
                continue;
            }
        }
        assert!(off.unwrap() < 1e-12, "{fault:?}");
        let left = after.problems.iter().find(|p| p.kind != ProblemKind::Slivers);
        assert!(left.is_none(), "{fault:?}: {left:?}");
        for change in changes {
            let sentence = change.to_string();
            assert!(sentence.ends_with('.') && sentence.len() > 30, "{sentence}");
        }
    }
}

#[test]
fn a_small_flat_hole_is_closed_and_a_wide_or_bent_one_is_not() {
    let cube = solid::cuboid([4.0; 3]);
    let without = |mesh: &Mesh, keep: &dyn Fn(usize) -> bool| {
        let kept = mesh.triangles().iter().enumerate().filter(|(at, _)| keep(*at));
        Mesh::new(mesh.vertices().to_vec(), kept.map(|(_, t)| *t).collect()).unwrap()
    };
    let open = without(&cube, &|at| at != 3);
    // The rim of the missing facet is 5.7 mm wide.
    let (after, changes) = repaired(&open);
    assert!(!after.closed && changes.is_empty());
    let (after, changes) = repaired(&open.scaled(0.8).unwrap());
    assert!(after.closed && matches!(changes[..], [Change::Filled { holes: 1, .. }]));
    assert!((after.volume.unwrap().get() - 3.2_f64.powi(3)).abs() < 1e-12);

    // A polygon of many corners: the lid of a cylinder.
    let can = solid::cylinder(1.7, 5.0, 40);
    let lid = |mesh: &Mesh| {
        without(mesh, &|at| !mesh.corners(mesh.triangles()[at]).iter().all(|p| p[2] == 5.0))
    };
    let (after, _) = repaired(&lid(&can).welded());
    assert!(
        (after.volume.unwrap().get() / measured(&can).volume.unwrap().get() - 1.0).abs() < 1e-12
    );

    // Around the corner of a cube: three facets' rim is far from flat.
    let corner = without(&cube.scaled(0.5).unwrap(), &|at| !cube.triangles()[at].contains(&0));
    assert!(!repaired(&corner).0.closed);
}

#[test]
fn a_hollow_stays_a_hollow() {
    let shell = solid::ball(6.0, 24);
    let hollow = shell.joined(&solid::ball(3.0, 24).flipped()).unwrap();
    let truth = measured(&hollow).volume;
    assert_eq!(repaired(&hollow), (measured(&hollow), vec![]));
    let (after, changes) = repaired(&hollow.flipped());
    assert!(matches!(changes[..], [Change::TurnedOutside { .. }]));
    assert!((after.volume.unwrap().get() / truth.unwrap().get() - 1.0).abs() < 1e-12);
    assert!(after.has(ProblemKind::EnclosedVoid) && !after.has(ProblemKind::InsideOut));
}

#[test]
fn crumbs_that_enclose_nothing_are_taken_out() {
    let crumb = Mesh::new(
        vec![[9.0, 0.0, 0.0], [10.0, 0.0, 0.0], [9.0, 1.0, 0.0]],
        vec![[0, 1, 2], [0, 2, 1], [0, 1, 1]],
    )
    .unwrap();
    let (after, changes) = repaired(&solid::cuboid([4.0; 3]).joined(&crumb).unwrap());
    assert!(changes.contains(&Change::DroppedCollapsed { facets: 1 }), "{changes:?}");
    assert!(changes.contains(&Change::DroppedFlat { shells: 1 }), "{changes:?}");
    assert_eq!(after.volume.unwrap().get(), 64.0);
    assert_eq!(after.shell_count, 1);
}

#[test]
fn bodies_come_apart_and_keep_their_volumes() {
    let both = Piece::PlainBand.mesh().joined(&solid::ball(2.0, 12)).unwrap();
    let parts = bodies(&both);
    assert_eq!(parts.len(), 2);
    let sum: f64 = parts.iter().map(|part| measured(part).volume.unwrap().get()).sum();
    assert!((sum / measured(&both).volume.unwrap().get() - 1.0).abs() < 1e-12);
    assert_eq!(parts[1].vertices().len(), solid::ball(2.0, 12).vertices().len());
}
