//! A whole day on a wet flask in steel against the same scheme written apart in numpy.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use foundry::heat::{FlaskBody, Grid, GypsumMix, Kiln, Programme, Segment, simulate};
use foundry::quantity::{Celsius, Millimetres};

/// `python3 tests/outside/heat_numpy.py` (numpy 2.4.6, Python 3.11.7): the core at the corners of
/// the programme, °C, and the hours until it is dry.
const CORE_C: [f64; 8] = [38.36, 99.79, 100.00, 365.53, 692.88, 732.00, 581.94, 538.00];
const DRY_H: f64 = 7.46;

#[test]
fn a_day_in_numpy_and_here_gives_the_same_core() {
    let inches = |n| Millimetres::from_inches(n).unwrap();
    let (body, _) =
        FlaskBody::gypsum_bonded(inches(3.5), inches(4.0), GypsumMix::default()).unwrap();
    let mut segments = Vec::new();
    for (to, minutes) in [(149.0, 180.0), (371.0, 120.0), (732.0, 240.0), (538.0, 357.6)] {
        segments.push(Segment::ramp(to, 100.0).unwrap());
        segments.push(Segment::hold(minutes).unwrap());
    }
    let programme = Programme::new(Celsius::of(22.0), segments).unwrap();
    let run = simulate(&body, &programme, &Kiln::Ideal, &Grid::default()).unwrap();
    for (knot, expected) in programme.knots()[1..].iter().zip(CORE_C) {
        let core = run.at(knot.minute).unwrap().core.get();
        // Samples lie two minutes apart; at a corner the line between them cuts it off a little.
        assert!((core - expected).abs() < 0.1, "{core:.2} against {expected}");
    }
    let dry = run.core_passes(Celsius::of(101.0)).unwrap().hours();
    // The script gives the end of the step, up to two minutes late.
    assert!(dry <= DRY_H + 0.01 && dry > DRY_H - 0.05, "{dry:.3} against {DRY_H}");
}
