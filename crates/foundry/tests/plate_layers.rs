//! Layers, hours and resin of a plate, by hand and by their properties.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::plate::{LayerTimes, PrintRefusal, print_run, resin_for_plate};
use foundry::quantity::{CubicMillimetres, Millimetres, Seconds, Share};
use foundry::source::{Source, Sourced};
use proptest::prelude::*;

fn mm(value: f64) -> Millimetres {
    Millimetres::new(value).unwrap()
}

fn seconds(value: f64) -> Seconds {
    Seconds::new(value).unwrap()
}

fn times() -> LayerTimes {
    LayerTimes {
        layer: mm(0.05),
        exposure: seconds(4.0),
        bottom_layers: 5,
        bottom_exposure: seconds(40.0),
        transition_layers: 0,
        movement: seconds(7.0),
        source: Source::Entered,
    }
}

#[test]
fn a_plate_takes_what_it_takes_by_hand() {
    // 30 mm ÷ 0.05 = 600 layers; 5 × 40 + 595 × 4 = 2580 s of light; 600 × 7 = 4200 s; 6780 s = 113 min.
    let run = print_run(mm(30.0), &times()).unwrap().value;
    assert_eq!(run.layers, 600);
    assert!((run.duration.get() - 113.0).abs() < 1e-9);
    // With three transition layers at 31, 22, 13 s instead of 4: 54 s more.
    let smooth = LayerTimes { transition_layers: 3, ..times() };
    let longer = print_run(mm(30.0), &smooth).unwrap();
    assert!((longer.value.duration.get() - 113.0 - 54.0 / 60.0).abs() < 1e-9);
    assert_eq!(longer.working.steps.len(), 4);
}

#[test]
fn a_low_plate_may_end_among_the_first_layers() {
    let smooth = LayerTimes { transition_layers: 3, ..times() };
    // Seven layers: five of 40 s, then 31 and 22 s, and 49 s of movement.
    let run = print_run(mm(0.35), &smooth).unwrap().value;
    assert_eq!(run.layers, 7);
    assert!((run.duration.seconds().get() - (200.0 + 53.0 + 49.0)).abs() < 1e-9);
    let run = print_run(mm(0.01), &smooth).unwrap().value;
    assert_eq!(run.layers, 1);
    assert!((run.duration.seconds().get() - 47.0).abs() < 1e-9);
}

#[test]
fn binary_fractions_do_not_cost_a_layer() {
    // 0.27 ÷ 0.03 is a hair above 9 in binary, and so is 0.3 in single precision, as meshes store it.
    for (height, layer, layers) in [
        (12.0, 0.05, 240),
        (4.1, 0.1, 41),
        (0.27, 0.03, 9),
        (f64::from(0.3_f32), 0.05, 6),
        (12.01, 0.05, 241),
    ] {
        let times = LayerTimes { layer: mm(layer), ..times() };
        assert_eq!(print_run(mm(height), &times).unwrap().value.layers, layers);
    }
}

#[test]
fn impossible_runs_are_refused() {
    let thick = LayerTimes { layer: mm(50.0), ..times() };
    assert!(matches!(print_run(mm(30.0), &thick), Err(PrintRefusal::LayerHeight { .. })));
    let none = LayerTimes { layer: mm(0.0), ..times() };
    assert!(matches!(print_run(mm(30.0), &none), Err(PrintRefusal::LayerHeight { .. })));
    assert!(matches!(print_run(mm(0.0), &times()), Err(PrintRefusal::NoHeight { .. })));
    let backward = LayerTimes { movement: seconds(-1.0), ..times() };
    assert!(matches!(print_run(mm(30.0), &backward), Err(PrintRefusal::NegativeTime { .. })));
}

#[test]
fn resin_is_models_supports_and_what_stays_behind() {
    let ml = |value: f64| CubicMillimetres::new(value * 1000.0).unwrap();
    let supports = Sourced::entered(Share::from_percent(30.0).unwrap());
    let resin = resin_for_plate(ml(20.0), supports, Sourced::entered(ml(3.0))).unwrap();
    assert!((resin.value.cubic_centimetres() - 29.0).abs() < 1e-9);
    assert!(resin.working.warnings.iter().any(|warning| warning.contains("skin")));
}

proptest! {
    #[test]
    fn a_higher_plate_never_takes_less(
        height in 0.01_f64..300.0, more in 0.0_f64..50.0, bottom in 0_u32..20, transition in 0_u32..20,
    ) {
        let times = LayerTimes { bottom_layers: bottom, transition_layers: transition, ..times() };
        let run = |height| print_run(mm(height), &times).unwrap().value;
        let (low, high) = (run(height), run(height + more));
        prop_assert!(low.layers <= high.layers && low.duration <= high.duration);
        let covered = f64::from(low.layers) * 0.05;
        prop_assert!(covered >= height - 1e-6 && covered < height + 0.05 + 1e-6);
    }
}
