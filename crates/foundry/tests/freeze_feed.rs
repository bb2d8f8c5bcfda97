//! Whole pieces: last places, pockets and sprues.
#![allow(clippy::unwrap_used, reason = "a test may stop at a surprise")]

mod freeze_shapes;

use std::ops::ControlFlow;

use foundry::freeze::{
    Advice, Conditions, FeedAnswer, FeedCase, FreezeRefusal, Sprue, advise, feed, heat_of,
};
use freeze_shapes::{Mesh, ring};

fn answer(case: &FeedCase<'_>) -> FeedAnswer {
    feed(case, &mut |_| ControlFlow::Continue(())).unwrap()
}

fn bronze<'a>(mesh: &'a Mesh) -> FeedCase<'a> {
    FeedCase::new(&mesh.0, &mesh.1, Conditions::usual(heat_of("silicon bronze").unwrap()))
}

fn sprue(at_mm: [f64; 3], diameter_mm: f64) -> Sprue {
    Sprue { at_mm, diameter_mm, length_mm: 8.0, direction: None }
}

/// A ring of 18 mm bore whose shank of 1 mm radius swells to a head of 2.4 mm radius at +x.
fn ring_with_head() -> Mesh {
    ring(11.0, |u| {
        let from_head = u.min(std::f64::consts::TAU - u);
        1.0 + 1.4 * (-(from_head / 0.45).powi(2)).exp()
    })
}

#[test]
fn a_ring_fed_through_its_shank_starves_its_head() {
    let mesh = ring_with_head();
    let mut case = bronze(&mesh);
    case.sprues = vec![sprue([-12.0, 0.0, 0.0], 3.0)];
    let thin = answer(&case);
    assert!(!thin.enough);
    let pocket = &thin.pockets[0];
    assert!((pocket.at_mm[0] - 11.0).abs() < 0.6 && pocket.at_mm[2].abs() < 0.6, "{pocket:?}");
    // The head alone, beyond the neck of the shank, holds about 220 mm³.
    assert!(pocket.volume_mm3 > 150.0 && pocket.volume_mm3 < 280.0);
    assert!(pocket.porosity_mm3.low < pocket.porosity_mm3.usual);
    assert!(pocket.porosity_mm3.usual < pocket.porosity_mm3.high);
    case.sprues = vec![sprue([13.4, 0.0, 0.0], 6.0)];
    let thick = answer(&case);
    assert!(thick.enough, "{:?}", thick.pockets);
    assert!(thick.last_to_freeze.at_mm[0] > 12.0, "the head's top, under the sprue, is last");
}

/// The stated tolerance: times within 5 %, pockets within 10 % of their volume,
/// between three and six voxels across the shank.
#[test]
fn the_answer_does_not_hang_on_the_pitch() {
    let mesh = ring_with_head();
    let mut case = bronze(&mesh);
    case.sprues = vec![sprue([-12.0, 0.0, 0.0], 3.0)];
    case.pitch_mm = Some(0.6);
    let coarse = answer(&case);
    case.pitch_mm = Some(0.35);
    let fine = answer(&case);
    let close = |a: f64, b: f64, share: f64| (a / b - 1.0).abs() < share;
    assert!(close(coarse.last_to_freeze.seconds, fine.last_to_freeze.seconds, 0.05));
    assert!(close(coarse.solid_s, fine.solid_s, 0.05));
    assert!(close(coarse.pockets[0].volume_mm3, fine.pockets[0].volume_mm3, 0.10));
    assert!(close(coarse.pockets[0].cut_off_s, fine.pockets[0].cut_off_s, 0.05));
    assert_eq!(coarse.pockets.len(), fine.pockets.len());
}

#[test]
fn turning_the_model_a_quarter_turns_the_answer() {
    let mesh = ring_with_head();
    let turn = |p: [f64; 3]| [-p[1], p[0], p[2]];
    let turned: Mesh = (mesh.0.iter().map(|&p| turn(p)).collect(), mesh.1.clone());
    let mut case = bronze(&mesh);
    case.pitch_mm = Some(0.8);
    case.sprues = vec![sprue([-12.0, 0.0, 0.0], 3.0)];
    let first = answer(&case);
    let mut case = bronze(&turned);
    case.pitch_mm = Some(0.8);
    case.sprues = vec![sprue(turn([-12.0, 0.0, 0.0]), 3.0)];
    let second = answer(&case);
    assert!((first.solid_s / second.solid_s - 1.0).abs() < 1e-3);
    let expected = turn(first.pockets[0].at_mm);
    for (at, wanted) in second.pockets[0].at_mm.iter().zip(expected) {
        assert!((at - wanted).abs() < 0.81);
    }
    let ratio = first.pockets[0].volume_mm3 / second.pockets[0].volume_mm3;
    assert!((ratio - 1.0).abs() < 0.01);
}

#[test]
fn vertices_in_the_head_freeze_after_those_in_the_shank() {
    let mesh = ring_with_head();
    let found = answer(&bronze(&mesh));
    let times = found.freezing.feeds_until_at_vertices_s(&mesh.0);
    assert!(times.iter().all(|t| t.is_finite()));
    let near = |x: f64| {
        let nearest = (0..mesh.0.len()).min_by(|&a, &b| {
            let off = |i: usize| (mesh.0[i][0] - x).abs() + mesh.0[i][2].abs();
            off(a).total_cmp(&off(b))
        });
        times[nearest.unwrap()]
    };
    assert!(near(13.4) > 1.5 * near(-12.0));
    let section = found.freezing.section_s(1, 0.0).unwrap();
    assert!(section.seconds.iter().any(|s| s.is_finite()));
    assert!(found.freezing.section_s(1, 500.0).is_none());
}

#[test]
fn bad_input_is_refused_with_what_to_do() {
    let mesh = ring_with_head();
    let go = |case: &FeedCase<'_>| {
        feed(case, &mut |_| ControlFlow::Continue(())).map(|_| ()).unwrap_err()
    };
    let open: Mesh = (mesh.0.clone(), mesh.1[..mesh.1.len() - 200].to_vec());
    assert!(matches!(go(&bronze(&open)), FreezeRefusal::NotClosed { .. }));
    let empty: Mesh = (mesh.0.clone(), Vec::new());
    assert_eq!(go(&bronze(&empty)), FreezeRefusal::NoModel);
    let broken: Mesh = (mesh.0[..9].to_vec(), mesh.1.clone());
    assert!(matches!(go(&bronze(&broken)), FreezeRefusal::BadTriangle { .. }));
    let mut far = bronze(&mesh);
    far.sprues = vec![sprue([0.0, 0.0, 0.0], 3.0)];
    assert!(matches!(go(&far), FreezeRefusal::SprueOffSurface { number: 1, .. }));
    let mut nan = bronze(&mesh);
    nan.sprues = vec![sprue([-12.0, 0.0, 0.0], f64::NAN)];
    assert!(matches!(go(&nan), FreezeRefusal::OutOfRange { .. }));
    let mut hot = bronze(&mesh);
    hot.conditions.flask_c = 900.0;
    assert!(matches!(go(&hot), FreezeRefusal::OutOfRange { .. }));
    let mut fine = bronze(&mesh);
    fine.pitch_mm = Some(0.02);
    assert!(matches!(go(&fine), FreezeRefusal::TooFine { .. }));
    let stopped = feed(&bronze(&mesh), &mut |_| ControlFlow::Break(()));
    assert_eq!(stopped.map(|_| ()).unwrap_err(), FreezeRefusal::Stopped);
    assert!(heat_of("unobtainium").unwrap_err().to_string().contains("silicon bronze"));
}

#[test]
fn advice_finds_a_sprue_for_the_head() {
    let mesh = ring_with_head();
    let mut case = bronze(&mesh);
    case.pitch_mm = Some(0.7);
    case.sprues = vec![sprue([-12.0, 0.0, 0.0], 3.0)];
    let found = answer(&case);
    let advice = advise(&case, &found, &mut |_| ControlFlow::Continue(())).unwrap();
    println!(
        "{:#?} {}",
        advice,
        advice.advice.iter().map(|a| a.to_string()).collect::<Vec<_>>().join("\n")
    );
    assert!(advice.advice[0].to_string().contains("cut off from its feed"));
    assert_eq!(advice.sprues.len(), 1, "one sprue at the head feeds the whole ring");
    assert!(advice.sprues[0].at_mm[0] > 9.0);
    case.sprues = advice.sprues.clone();
    assert!(answer(&case).enough);
}

#[test]
fn advice_says_which_of_two_sprues_adds_nothing() {
    let mesh = ring_with_head();
    let mut case = bronze(&mesh);
    case.pitch_mm = Some(0.7);
    case.sprues = vec![sprue([13.4, 0.0, 0.0], 6.0), sprue([-12.0, 0.0, 0.0], 3.0)];
    let found = answer(&case);
    assert!(found.enough);
    let advice = advise(&case, &found, &mut |_| ControlFlow::Continue(())).unwrap();
    println!(
        "{:#?} {}",
        advice,
        advice.advice.iter().map(|a| a.to_string()).collect::<Vec<_>>().join("\n")
    );
    assert!(matches!(advice.advice[0], Advice::Enough { sprues: 2, .. }));
    assert!(matches!(advice.advice[1], Advice::Needless { number: 2, .. }));
    assert_eq!(advice.sprues, vec![case.sprues[0]]);
}
