//! Trees of real models and of plain solids, against an exact judge and closed forms.

use foundry::mesh::Mesh;
use foundry::pack::{
    Attach, Channels, FlaskKind, Heavy, NoFlask, PackRefusal, PackedFlasks, Pattern, Sprue, ToTree,
    TreeFault, TreeRules, judge_tree, pack_flasks, tree_outline,
};
use foundry::shapes::{Piece, solid};
use proptest::prelude::*;

fn kind(diameter_mm: f64, height_mm: f64) -> FlaskKind {
    FlaskKind { diameter_mm, height_mm, channels: None, at_hand: None }
}

fn of(pattern: usize) -> ToTree {
    ToTree { pattern, due: None, group: 0 }
}

fn patterns(meshes: &[Mesh]) -> Vec<Pattern<'_>> {
    meshes.iter().map(|mesh| Pattern { mesh, attach: Attach::Heaviest }).collect()
}

/// Packs, and lets the judge look at every flask.
fn packed(
    kinds: &[FlaskKind],
    patterns: &[Pattern<'_>],
    pieces: &[ToTree],
    rules: &TreeRules,
) -> PackedFlasks {
    let packed = pack_flasks(kinds, patterns, pieces, rules).expect("there is a flask");
    for flask in &packed.flasks {
        let faults = judge_tree(&kinds[flask.kind], patterns, pieces, rules, flask);
        assert_eq!(faults, [], "{} pieces", flask.pieces.len());
    }
    let mut seen: Vec<usize> = packed.left.iter().map(|(piece, _)| *piece).collect();
    seen.extend(packed.flasks.iter().flat_map(|flask| flask.pieces.iter().map(|on| on.piece)));
    seen.sort_unstable();
    assert_eq!(seen, (0..pieces.len()).collect::<Vec<_>>(), "each piece once");
    assert!(packed.at_least <= packed.flasks.len(), "a bound above what was packed");
    assert_eq!(packed.at_least == 0, packed.flasks.is_empty());
    packed
}

/// Balls in one tier around a straight sprue: n balls of radius r at distance ρ from the axis
/// keep a clearance c when 2 ρ sin(π/n) ≥ 2 r + c; closed form.
#[test]
fn a_tier_of_balls_comes_near_the_closed_form_and_never_passes_it() {
    for (radius, wall) in [(4.0_f64, 7.0_f64), (6.0, 7.0), (9.0, 5.0)] {
        let (runner, apart) = (5.0, 3.0);
        let rho = 4.0 + runner + radius;
        let inside = 2.0 * (rho + radius + wall) + 2.5;
        let most = (std::f64::consts::PI / ((2.0 * radius + apart) / (2.0 * rho)).asin()).floor();
        let rules = TreeRules {
            wall_mm: wall,
            tilts_deg: vec![0.0],
            runner_lengths_mm: vec![runner],
            azimuths: 120,
            floor_mm: 10.0,
            top_mm: 10.0,
            ..TreeRules::default()
        };
        let meshes = [solid::ball(radius, 32)];
        let pieces = vec![of(0); most as usize + 3];
        // So low that there is one tier only.
        let flask = kind(inside, 20.0 + 2.0 * radius + 3.5);
        let packed = packed(&[flask], &patterns(&meshes), &pieces, &rules);
        let on = packed.flasks[0].pieces.len();
        println!("balls of {radius} mm: {on} in a tier, {most} at most");
        assert!(on as f64 <= most, "{on} balls where {most} go");
        assert!(on as f64 >= (0.85 * most).floor(), "{on} balls where {most} go");
        assert_eq!(packed.flasks[0].pieces.iter().map(|on| on.tier).max(), Some(1));
    }
}

#[test]
fn a_studios_pieces_hang_clear_of_everything_in_few_flasks() {
    let meshes: Vec<Mesh> = Piece::ALL.into_iter().map(Piece::mesh).collect();
    let patterns = patterns(&meshes);
    let pieces: Vec<ToTree> = (0..2 * meshes.len()).map(|n| of(n % meshes.len())).collect();
    let kinds = [kind(76.0, 100.0), kind(96.0, 150.0), kind(126.0, 180.0)];
    let packed = packed(&kinds, &patterns, &pieces, &TreeRules::default());
    for flask in &packed.flasks {
        println!(
            "kind {}: {} pieces in {} tiers, {:?} mm³",
            flask.kind,
            flask.pieces.len(),
            flask.pieces.iter().map(|on| on.tier).max().unwrap_or(0),
            flask.pieces_mm3
        );
        for on in &flask.pieces {
            let mesh = &meshes[pieces[on.piece].pattern];
            let drawn = tree_outline(mesh, on, 0.5).unwrap();
            assert!(!drawn.above.is_empty() && !drawn.side.is_empty());
        }
    }
    println!("left {:?}", packed.left);
    let again = pack_flasks(&kinds, &patterns, &pieces, &TreeRules::default()).unwrap();
    assert_eq!(packed, again, "the same input gives the same trees");
}

#[test]
fn heavy_pieces_hang_where_they_are_wanted() {
    let meshes = [solid::ball(9.0, 24), solid::ball(4.0, 24)];
    let pieces: Vec<ToTree> = (0..12).map(|n| of(usize::from(n % 3 != 0))).collect();
    for (heavy, low_first) in [(Heavy::Low, true), (Heavy::High, false)] {
        let rules = TreeRules { heavy, ..TreeRules::default() };
        let packed = packed(&[kind(96.0, 140.0)], &patterns(&meshes), &pieces, &rules);
        let mean = |pattern: usize| {
            let heights: Vec<f64> = packed.flasks[0]
                .pieces
                .iter()
                .filter(|on| pieces[on.piece].pattern == pattern)
                .map(|on| on.z_mm)
                .collect();
            heights.iter().sum::<f64>() / heights.len() as f64
        };
        assert_eq!(mean(0) < mean(1), low_first, "{heavy:?}");
    }
}

#[test]
fn channels_and_branches_are_kept_clear_of() {
    let meshes = [solid::cuboid([14.0, 6.0, 18.0])];
    let channels = Some(Channels { count: 6, diameter_mm: 6.0, from_axis_mm: 52.0 });
    let flask = FlaskKind { channels, ..kind(116.0, 140.0) };
    let pieces = vec![of(0); 24];
    let straight = packed(&[flask], &patterns(&meshes), &pieces, &TreeRules::default());
    let branching = TreeRules {
        sprue: Sprue::Branching { diameter_mm: 6.0, branches: 3, spread_mm: 22.0 },
        ..TreeRules::default()
    };
    let branched = packed(&[flask], &patterns(&meshes), &pieces, &branching);
    for one in [&straight, &branched] {
        println!("{} on the first tree", one.flasks[0].pieces.len());
        assert!(one.flasks[0].pieces.len() >= 8);
    }
    let uprights = branched.flasks[0].pieces.iter().map(|on| on.upright).max();
    assert_eq!(uprights, Some(2), "all branches bear pieces");
}

#[test]
fn a_group_has_flasks_of_its_own_and_what_is_due_first_goes_first() {
    let meshes = [solid::ball(8.0, 24)];
    let pieces: Vec<ToTree> = (0..30_i64)
        .map(|n| ToTree { pattern: 0, due: Some(100 - n), group: usize::from(n % 5 == 0) })
        .collect();
    let packed = packed(&[kind(76.0, 90.0)], &patterns(&meshes), &pieces, &TreeRules::default());
    assert!(packed.flasks.len() >= 3);
    let mut latest = [i64::MIN; 2];
    for flask in &packed.flasks {
        let dues: Vec<i64> = flask.pieces.iter().filter_map(|on| pieces[on.piece].due).collect();
        let first = *dues.iter().min().unwrap();
        assert!(first > latest[flask.group], "a flask begins before the one in front of it ends");
        latest[flask.group] = *dues.iter().max().unwrap();
    }
}

#[test]
fn the_bound_on_flasks_is_met_where_pieces_are_stout_and_counts_groups() {
    // Grown to 19.5 mm, two balls are 62,100 mm³; the room, grown to 20.5 mm by 43 mm, 56,800 mm³.
    let meshes = [solid::ball(18.0, 48)];
    let rules = TreeRules { wall_mm: 4.0, ..TreeRules::default() };
    let flask = [kind(46.0, 64.0)];
    let packed = packed(&flask, &patterns(&meshes), &[of(0); 3], &rules);
    assert_eq!((packed.at_least, packed.flasks.len()), (3, 3));
    // However small, pieces of three groups take three flasks.
    let meshes = [solid::ball(3.0, 16)];
    let pieces: Vec<ToTree> =
        (0..6).map(|n| ToTree { pattern: 0, due: None, group: n % 3 }).collect();
    let packed = packed_of_three(&meshes, &pieces);
    assert_eq!((packed.at_least, packed.flasks.len()), (3, 3));
}

fn packed_of_three(meshes: &[Mesh], pieces: &[ToTree]) -> PackedFlasks {
    packed(&[kind(96.0, 120.0)], &patterns(meshes), pieces, &TreeRules::default())
}

#[test]
fn the_least_flask_that_holds_all_is_taken() {
    let meshes = [solid::ball(5.0, 24)];
    let kinds = [kind(126.0, 180.0), kind(66.0, 80.0), kind(96.0, 120.0)];
    let packed = packed(&kinds, &patterns(&meshes), &[of(0), of(0)], &TreeRules::default());
    assert_eq!(packed.flasks.iter().map(|flask| flask.kind).collect::<Vec<_>>(), [1]);
}

#[test]
fn what_fits_no_flask_says_which_it_needs() {
    let meshes = [solid::ball(60.0, 32), solid::ball(5.0, 24)];
    let packed =
        packed(&[kind(96.0, 150.0)], &patterns(&meshes), &[of(0), of(1)], &TreeRules::default());
    let [(0, NoFlask::TooLarge { diameter_mm, height_mm })] = packed.left[..] else {
        panic!("{:?}", packed.left)
    };
    // On the tip of a sprue: the ball and twice the clearance to the wall across, and it, the
    // clearances to base and rim and a millimetre of runner high.
    assert!((134.0..140.0).contains(&diameter_mm), "{diameter_mm}");
    assert!((144.0..150.0).contains(&height_mm), "{height_mm}");
    let larger = [kind(diameter_mm + 0.1, height_mm + 0.1)];
    let taken = pack_flasks(&larger, &patterns(&meshes), &[of(0)], &TreeRules::default()).unwrap();
    assert_eq!(taken.left, []);
    let faults = judge_tree(
        &larger[0],
        &patterns(&meshes),
        &[of(0)],
        &TreeRules::default(),
        &taken.flasks[0],
    );
    assert_eq!(faults, []);
}

#[test]
fn flasks_that_are_not_free_are_asked_for() {
    let meshes = [solid::ball(8.0, 24)];
    let few = FlaskKind { at_hand: Some(1), ..kind(76.0, 90.0) };
    let packed = packed(&[few], &patterns(&meshes), &vec![of(0); 40], &TreeRules::default());
    assert_eq!(packed.flasks.len(), 1);
    assert!(packed.left.iter().all(|(_, why)| matches!(why, NoFlask::NoneFree { .. })));
}

#[test]
fn nonsense_is_refused() {
    let meshes = [solid::ball(8.0, 24)];
    let ask = |kind: FlaskKind, rules: &TreeRules, pattern: usize| {
        pack_flasks(&[kind], &patterns(&meshes), &[of(pattern)], rules)
    };
    let rules = TreeRules::default();
    assert!(matches!(ask(kind(f64::NAN, 90.0), &rules, 0), Err(PackRefusal::OutOfRange { .. })));
    assert!(matches!(ask(kind(80.0, 90.0), &rules, 4), Err(PackRefusal::NoSuchModel { .. })));
    let none = TreeRules { tilts_deg: vec![], ..rules };
    assert_eq!(ask(kind(80.0, 90.0), &none, 0), Err(PackRefusal::NoWayToHang));
}

#[test]
fn the_judge_sees_what_is_wrong() {
    let meshes = [solid::cuboid([8.0, 8.0, 8.0])];
    let (kinds, rules) = ([kind(90.0, 110.0)], TreeRules::default());
    let pieces = vec![of(0); 6];
    let good = packed(&kinds, &patterns(&meshes), &pieces, &rules).flasks.remove(0);
    let judge = |flask: &foundry::pack::Treed| {
        judge_tree(&kinds[0], &patterns(&meshes), &pieces, &rules, flask)
    };
    let mut shifted = good.clone();
    shifted.pieces[0].pose[0][3] += 60.0;
    let faults = judge(&shifted);
    assert!(faults.iter().any(|fault| matches!(fault, TreeFault::TooNear { what: "wall", .. })));
    assert!(faults.iter().any(|fault| matches!(fault, TreeFault::NotJoined { .. })));
    let mut twin = good.clone();
    twin.pieces[1].pose = twin.pieces[0].pose;
    assert!(
        judge(&twin)
            .iter()
            .any(|fault| matches!(fault, TreeFault::TooClose { apart_mm, .. } if *apart_mm == 0.0))
    );
    let mut mirrored = good;
    for row in &mut mirrored.pieces[0].pose {
        row[0] = -row[0];
    }
    assert!(judge(&mirrored).iter().any(|fault| matches!(fault, TreeFault::NotRigid { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn nothing_touches_and_nothing_leaves_the_flask(
        sizes in prop::collection::vec((4.0..16.0_f64, 3.0..12.0_f64, 3.0..20.0_f64), 1..4),
        count in 3_usize..14, diameter in 70.0..120.0_f64, height in 80.0..150.0_f64,
        apart in 1.0..5.0_f64, branches in 1_u32..4, channels in 0_u32..5,
    ) {
        let meshes: Vec<Mesh> = sizes.iter().enumerate().map(|(n, &(a, b, c))| match n % 3 {
            0 => solid::cuboid([a, b, c]),
            1 => solid::tube(a / 2.0, a / 2.0 + 2.0, b / 2.0, 24),
            _ => solid::cone(a / 2.0, c, 24),
        }).collect();
        let channels = (channels > 0).then_some(Channels {
            count: channels, diameter_mm: 5.0, from_axis_mm: diameter / 2.0 - 4.0,
        });
        let flask = FlaskKind { channels, ..kind(diameter, height) };
        let sprue = if branches == 1 {
            Sprue::Straight { diameter_mm: 7.0 }
        } else {
            Sprue::Branching { diameter_mm: 6.0, branches, spread_mm: diameter / 5.0 }
        };
        let rules = TreeRules { sprue, apart_mm: apart, azimuths: 24, rolls: 4, ..Default::default() };
        let pieces: Vec<ToTree> = (0..count).map(|n| of(n % meshes.len())).collect();
        packed(&[flask], &patterns(&meshes), &pieces, &rules);
    }
}
