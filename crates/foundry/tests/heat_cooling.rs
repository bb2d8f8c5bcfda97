//! A flask out of the kiln, against an independent computation.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use foundry::heat::{
    Base, Convection, FlaskBody, Grid, InvestmentHeat, Kiln, OutOfKiln, Programme, Segment,
    SteelWall, Surface, cool,
};
use foundry::quantity::{Celsius, Millimetres, Minutes, Seconds};

/// 537.8 °C all through, still air at 22 °C, emissivity 0.85, convection 8·(ΔT/100)^¼ W/(m²·K),
/// k 0.45, 1230 kg/m³, 1000 J/(kg·K), steel 1.6 mm, both ends open.
fn flask(diameter_in: f64, height_in: f64, k: f64) -> FlaskBody {
    FlaskBody {
        inside_diameter: Millimetres::from_inches(diameter_in).unwrap(),
        height: Millimetres::from_inches(height_in).unwrap(),
        // The judges' walls carry no heat along themselves; 1 W/(m·K) is nearly none.
        wall: Some(SteelWall {
            conductivity_w_mk: 1.0,
            ..SteelWall::stainless(Millimetres::of(1.6))
        }),
        investment: InvestmentHeat::dry(1230.0, 1000.0, k),
        tree: None,
        base: Base::Raised,
        surface: Surface { emissivity: 0.85, convection: Convection::Still(8.0) },
        start: Celsius::of(22.0),
    }
}

fn on_the_bench(body: &FlaskBody) -> foundry::heat::Cooling {
    cool(
        body,
        OutOfKiln::Even(Celsius::of(537.8)),
        Celsius::of(22.0),
        Minutes::of(10.0),
        &Grid::default(),
    )
    .unwrap()
}

/// The judge is another axisymmetric computation on 50 × 40 cells; no published cooling curve of a
/// flask was found. Its figures hold within 3 K. Its wall is the outermost cell of investment with
/// the steel's heat put into it, hotter than the steel itself by up to 12 K; the next test judges
/// the wall.
#[test]
fn a_flask_cools_as_an_independent_computation_says() {
    #[rustfmt::skip]
    let table = [
        // in, in, s: centre, half way, three quarters, wall, mean
        (2.5, 2.5, 60.0, [537.8, 536.9, 522.4, 438.0, 493.0]),
        (2.5, 2.5, 180.0, [533.6, 511.4, 458.4, 358.0, 423.0]),
        (2.5, 2.5, 300.0, [507.9, 467.0, 404.6, 314.0, 370.0]),
        (3.5, 4.0, 60.0, [537.8, 537.8, 532.6, 440.0, 507.0]),
        (3.5, 4.0, 180.0, [537.7, 531.3, 490.4, 362.0, 455.0]),
        (3.5, 4.0, 300.0, [535.8, 512.6, 448.5, 322.0, 415.0]),
        (3.5, 4.0, 600.0, [502.6, 448.4, 370.7, 265.0, 338.0]),
        (4.0, 8.0, 60.0, [537.8, 537.8, 534.9, 441.0, 515.0]),
        (4.0, 8.0, 180.0, [537.8, 534.8, 501.6, 364.0, 475.0]),
        (4.0, 8.0, 300.0, [537.4, 522.7, 464.0, 324.0, 442.0]),
    ];
    for (diameter, height, seconds, expected) in table {
        let cooling = on_the_bench(&flask(diameter, height, 0.45));
        let at = sample_at(&cooling, seconds);
        let tolerances = [3.0, 3.0, 3.0, 12.0, 3.5];
        for ((found, expected), tolerance) in at.into_iter().zip(expected).zip(tolerances) {
            assert!(
                (found - expected).abs() <= tolerance,
                "{diameter} × {height} in after {seconds} s: {found:.1} against {expected}"
            );
        }
    }
}

fn sample_at(cooling: &foundry::heat::Cooling, seconds: f64) -> [f64; 5] {
    let next = cooling.samples.partition_point(|sample| sample.time < Seconds::of(seconds));
    let (a, b) = (cooling.samples[next - 1], cooling.samples[next]);
    let part = (seconds - a.time.get()) / (b.time - a.time).get();
    let of = |pick: fn(&foundry::heat::CoolingSample) -> Celsius| {
        pick(&a).get() + (pick(&b) - pick(&a)).get() * part
    };
    [of(|s| s.core), of(|s| s.mid), of(|s| s.outer), of(|s| s.wall), of(|s| s.mean)]
}

/// Seconds, wall and three quarters of the radius, °C.
const WALL_BY_EXPLICIT: [(f64, f64, f64); 3] =
    [(60.0, 432.2, 535.3), (180.0, 354.0, 501.9), (300.0, 314.5, 463.8)];

/// Against an explicit radial computation with the wall as a node of its own
/// (`tests/outside/heat_wall.py`), in the middle of a long flask of 4 in.
#[test]
fn the_steel_wall_cools_as_an_explicit_computation_says() {
    let fine = Grid { radial: 50, axial: 80, ..Grid::default() };
    let out = OutOfKiln::Even(Celsius::of(537.8));
    let body = flask(4.0, 8.0, 0.45);
    let cooling = cool(&body, out, Celsius::of(22.0), Minutes::of(10.0), &fine).unwrap();
    for (seconds, wall, outer) in WALL_BY_EXPLICIT {
        let at = sample_at(&cooling, seconds);
        assert!((at[3] - wall).abs() < 1.0, "after {seconds} s the wall: {:.1}, {wall}", at[3]);
        assert!((at[2] - outer).abs() < 1.0, "after {seconds} s inside: {:.1}, {outer}", at[2]);
    }
}

/// The same computation with other conductivities: at three quarters of the radius of a 3.5 × 4 in
/// flask after 180 s 505.0 °C at 0.3 W/(m·K), 475.2 °C at 0.7.
#[test]
fn the_conductivity_moves_the_outer_pieces() {
    for (k, expected) in [(0.3, 505.0), (0.7, 475.2)] {
        let outer = sample_at(&on_the_bench(&flask(3.5, 4.0, k)), 180.0)[2];
        assert!((outer - expected).abs() < 3.0, "k {k}: {outer} against {expected}");
    }
}

#[test]
fn the_time_to_pour_ends_when_the_outer_pieces_leave_the_casting_range() {
    let cooling = on_the_bench(&flask(3.5, 4.0, 0.45));
    // 50 K below the start: between one and three minutes by the table above.
    let worked = cooling.pour_within(Celsius::of(487.8));
    let minutes = worked.value.unwrap().get();
    assert!((2.7..3.5).contains(&minutes), "{minutes}");
    assert!(!worked.working.steps.is_empty() && !worked.working.warnings.is_empty());
    assert!(cooling.core_below(Celsius::of(510.0)).unwrap() > worked.value.unwrap());
    assert_eq!(cooling.pour_within(Celsius::of(100.0)).value, None);
}

#[test]
fn a_flask_from_a_firing_starts_as_the_firing_left_it() {
    let body = flask(3.5, 4.0, 0.45);
    let programme =
        Programme::new(Celsius::of(22.0), vec![Segment::ramp(538.0, 300.0).unwrap()]).unwrap();
    let after = OutOfKiln::After(&programme, &Kiln::Ideal);
    let cooling =
        cool(&body, after, Celsius::of(22.0), Minutes::of(5.0), &Grid::default()).unwrap();
    let first = cooling.samples.first().unwrap();
    assert!(first.core.get() < 500.0 && first.wall.get() > first.core.get());
}
