//! Plates of real models: never over each other, never over the edge, due first.

use foundry::mesh::Mesh;
use foundry::pack::{
    Face, NoPlate, PackRefusal, Plate, PlateFault, PlateOptions, ToPrint, Up, judge_plate,
    outline_on_plate, pack_plates,
};
use foundry::shapes::{Piece, solid};
use proptest::prelude::*;

fn plate(width_mm: f64, depth_mm: f64) -> Plate {
    Plate {
        face: Face::Rectangle { width_mm, depth_mm },
        height_mm: 150.0,
        clearance_mm: 2.0,
        edge_mm: 2.0,
        raised_mm: 5.0,
    }
}

/// A bracket with one arm along x and one along y: its box is mostly empty.
fn bracket(arm: f64, thick: f64) -> Mesh {
    solid::cuboid([arm, thick, 4.0])
        .joined(&solid::cuboid([thick, arm, 4.0]))
        .expect("two arms are joined")
}

fn of(model: usize, due: impl Into<Option<i64>>) -> ToPrint {
    ToPrint { model, due: due.into() }
}

#[test]
fn brackets_nest_where_their_boxes_would_not_go() {
    let bracket = bracket(40.0, 6.0);
    let plate = plate(70.0, 70.0);
    let pieces = vec![of(0, None); 4];
    let packed = pack_plates(&plate, &[&bracket], &pieces, &PlateOptions::default()).unwrap();
    assert_eq!(packed.plates.len(), 1, "four brackets nest on a plate that holds one box of 40 mm");
    assert_eq!(judge_plate(&plate, &[&bracket], &pieces, &packed.plates[0].pieces), []);
}

#[test]
fn what_is_due_first_is_printed_first() {
    let (large, small) = (solid::cuboid([50.0, 50.0, 5.0]), solid::cuboid([10.0, 10.0, 5.0]));
    let plate = plate(70.0, 60.0);
    // The large one due last fills a plate; the small ones due before it go together.
    let pieces = [of(0, 30), of(1, 10), of(0, 20), of(1, 40), of(1, None)];
    let packed = pack_plates(&plate, &[&large, &small], &pieces, &PlateOptions::default()).unwrap();
    let on = |n: usize| -> Vec<usize> {
        packed.plates[n].pieces.iter().map(|place| place.piece).collect()
    };
    assert_eq!(packed.plates.len(), 2);
    assert!(on(0).contains(&1) && on(0).contains(&2), "{:?}", on(0));
    assert!(on(1).contains(&0));
    assert!(on(0).contains(&3), "what is due later fills the room that is left: {:?}", on(0));
}

#[test]
fn a_tall_piece_is_laid_down_where_that_is_allowed() {
    let column = solid::cuboid([10.0, 10.0, 80.0]);
    let low = Plate { height_mm: 50.0, ..plate(100.0, 60.0) };
    let as_drawn = pack_plates(&low, &[&column], &[of(0, None)], &PlateOptions::default()).unwrap();
    assert!(matches!(as_drawn.left[..], [(0, NoPlate::TooTall { .. })]), "{:?}", as_drawn.left);
    let options = PlateOptions { ups: Up::ALL.to_vec(), ..Default::default() };
    let laid = pack_plates(&low, &[&column], &[of(0, None)], &options).unwrap();
    let place = laid.plates[0].pieces[0];
    assert!((place.size_mm[2] - 10.0).abs() < 1e-9 && place.up != Up::PlusZ);
    assert!((laid.plates[0].height_mm - 15.0).abs() < 1e-9);
    assert_eq!(judge_plate(&low, &[&column], &[of(0, None)], &laid.plates[0].pieces), []);
}

#[test]
fn many_columns_stand_where_laying_them_down_takes_more_plates() {
    let column = solid::cuboid([8.0, 8.0, 60.0]);
    let plate = plate(70.0, 50.0);
    let pieces = vec![of(0, None); 20];
    let options = PlateOptions { ups: Up::ALL.to_vec(), turns: 4, ..Default::default() };
    let packed = pack_plates(&plate, &[&column], &pieces, &options).unwrap();
    assert_eq!(packed.plates.len(), 1);
    assert!(packed.plates[0].pieces.iter().all(|place| (place.size_mm[2] - 60.0).abs() < 1e-9));
}

#[test]
fn what_goes_on_no_plate_is_said_and_the_rest_is_packed() {
    let (wide, small) = (solid::cuboid([200.0, 10.0, 5.0]), solid::cuboid([10.0, 10.0, 5.0]));
    let pieces = [of(0, 1), of(1, 2)];
    let packed =
        pack_plates(&plate(100.0, 60.0), &[&wide, &small], &pieces, &PlateOptions::default())
            .unwrap();
    assert!(matches!(packed.left[..], [(0, NoPlate::TooWide { .. })]));
    assert_eq!(packed.plates[0].pieces.len(), 1);
}

#[test]
fn nonsense_is_refused() {
    let small = solid::cuboid([10.0, 10.0, 5.0]);
    let options = PlateOptions::default();
    let refused = |plate: &Plate| pack_plates(plate, &[&small], &[of(0, None)], &options);
    assert!(matches!(refused(&plate(f64::NAN, 60.0)), Err(PackRefusal::OutOfRange { .. })));
    assert!(matches!(refused(&plate(-3.0, 60.0)), Err(PackRefusal::OutOfRange { .. })));
    let missing = pack_plates(&plate(60.0, 60.0), &[&small], &[of(3, None)], &options);
    assert_eq!(missing, Err(PackRefusal::NoSuchModel { piece: 0, model: 3 }));
    let empty = pack_plates(&plate(60.0, 60.0), &[&Mesh::default()], &[], &options);
    assert_eq!(empty, Err(PackRefusal::NoModel { model: 0 }));
}

#[test]
fn a_studios_pieces_go_on_one_plate_and_the_judge_agrees() {
    let models: Vec<Mesh> = Piece::ALL.into_iter().map(Piece::mesh).collect();
    let models: Vec<&Mesh> = models.iter().collect();
    let pieces: Vec<ToPrint> =
        (0..3 * models.len()).map(|n| of(n % models.len(), n as i64)).collect();
    let plate = plate(218.0, 123.0);
    let packed = pack_plates(&plate, &models, &pieces, &PlateOptions::default()).unwrap();
    let on: usize = packed.plates.iter().map(|plate| plate.pieces.len()).sum();
    assert_eq!(on + packed.left.len(), pieces.len());
    for packed in &packed.plates {
        assert_eq!(judge_plate(&plate, &models, &pieces, &packed.pieces), []);
        println!("{} pieces cover {:.2}", packed.pieces.len(), packed.covered);
    }
    let again = pack_plates(&plate, &models, &pieces, &PlateOptions::default()).unwrap();
    assert_eq!(packed, again, "the same input gives the same plates");
}

#[test]
fn the_judge_sees_what_is_wrong() {
    let square = solid::cuboid([10.0, 10.0, 5.0]);
    let plate = plate(60.0, 60.0);
    let pieces = [of(0, None), of(0, None)];
    let packed = pack_plates(&plate, &[&square], &pieces, &PlateOptions::default()).unwrap();
    let mut on = packed.plates[0].pieces.clone();
    on[1] = foundry::pack::OnPlate { piece: 1, x_mm: on[0].x_mm + 11.5, y_mm: on[0].y_mm, ..on[1] };
    let faults = judge_plate(&plate, &[&square], &pieces, &on);
    assert!(
        matches!(faults[..], [PlateFault::TooClose { apart_mm, .. }] if (apart_mm - 1.5).abs() < 1e-9)
    );
    on[1].x_mm = 49.0;
    let faults = judge_plate(&plate, &[&square], &pieces, &on);
    assert!(
        matches!(faults[..], [PlateFault::OverEdge { over_mm, .. }] if (over_mm - 1.0).abs() < 1e-9)
    );
}

#[test]
fn an_outline_has_the_area_of_what_it_is_drawn_round() {
    let bracket = bracket(40.0, 6.0);
    let loops = outline_on_plate(&bracket, Up::PlusZ, 30.0, 0.1).unwrap();
    let area = |points: &[[f64; 2]]| {
        let next = points.iter().cycle().skip(1);
        points.iter().zip(next).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>() / 2.0
    };
    let drawn: f64 = loops.iter().map(|points| area(points)).sum();
    let truth = 2.0 * 40.0 * 6.0 - 36.0;
    assert!((drawn / truth - 1.0).abs() < 0.05, "{drawn} for {truth}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn nothing_overlaps_and_nothing_lies_outside(
        sizes in prop::collection::vec((4.0..30.0_f64, 2.0..30.0_f64, 2.0..6.0_f64), 1..6),
        dues in prop::collection::vec(prop::option::of(0_i64..5), 4..14),
        width in 50.0..120.0_f64, depth in 40.0..90.0_f64,
        clearance in 0.0..4.0_f64, edge in 0.0..4.0_f64, turns in 1_u32..9, round in any::<bool>(),
    ) {
        let meshes: Vec<Mesh> = sizes.iter().enumerate().map(|(n, &(a, b, thick))| match n % 3 {
            0 => solid::cuboid([a, b, 5.0]),
            1 => bracket(a.max(thick + 1.0), thick),
            _ => solid::tube(a / 3.0, a / 2.0, 4.0, 24),
        }).collect();
        let models: Vec<&Mesh> = meshes.iter().collect();
        let pieces: Vec<ToPrint> =
            dues.iter().enumerate().map(|(n, &due)| of(n % models.len(), due)).collect();
        let mut plate = Plate { clearance_mm: clearance, edge_mm: edge, ..plate(width, depth) };
        if round {
            plate.face = Face::Disc { diameter_mm: width };
        }
        let options = PlateOptions { turns, effort: 30, ..Default::default() };
        let packed = pack_plates(&plate, &models, &pieces, &options).unwrap();
        let mut seen: Vec<usize> = packed.left.iter().map(|(piece, _)| *piece).collect();
        for one in &packed.plates {
            prop_assert_eq!(judge_plate(&plate, &models, &pieces, &one.pieces), []);
            seen.extend(one.pieces.iter().map(|place| place.piece));
        }
        seen.sort_unstable();
        prop_assert_eq!(seen, (0..pieces.len()).collect::<Vec<_>>());
    }
}
