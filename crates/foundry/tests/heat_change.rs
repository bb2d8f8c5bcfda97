//! Changes that take up heat: Stefan's and Neumann's fronts, and the heat of a firing by hand.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod heat_support;

use foundry::heat::{
    Base, Convection, FlaskBody, Grid, GypsumMix, InvestmentHeat, Kiln, Programme, Reaction,
    Segment, Surface, section_at, simulate,
};
use foundry::quantity::{Celsius, Millimetres, Minutes};
use heat_support::{erf, one_phase_lambda, two_phase_lambda};

/// Melting point, span of the wall above it, and width of the change in the model.
const MELTS_C: f64 = 200.0;
const SPAN_K: f64 = 100.0;
const WIDTH_K: f64 = 0.1;
/// Properties of a unit problem: 1 W/(m·K), 1 MJ/(m³·K).
const CAPACITY: f64 = 1.0e6;
const DIFFUSIVITY_M2_S: f64 = 1.0e-6;

/// A thick plate whose top is held at the span above melting; `latent` in units of capacity × span.
fn plate(height_mm: f64, latent: f64, start_below: f64) -> FlaskBody {
    let mut investment = InvestmentHeat::dry(1000.0, 1000.0, 1.0);
    investment.reactions.push(Reaction {
        name: "melts",
        from_c: MELTS_C,
        to_c: MELTS_C + WIDTH_K,
        heat_j_m3: latent * CAPACITY * SPAN_K,
    });
    FlaskBody {
        // Wide, so that what comes in through the rim does not reach the axis.
        inside_diameter: Millimetres::of(1000.0),
        height: Millimetres::of(height_mm),
        wall: None,
        investment,
        tree: None,
        base: Base::Shelf,
        surface: Surface { emissivity: 0.0, convection: Convection::Constant(1.0e6) },
        start: Celsius::of(MELTS_C - start_below * SPAN_K),
    }
}

/// Depth of the melted part on the axis, and the temperatures of its column from the top down.
fn melt(body: &FlaskBody, seconds: f64, step_s: f64, cells: usize) -> (f64, Vec<(f64, f64)>) {
    let minutes = seconds / 60.0;
    let programme =
        Programme::new(Celsius::of(MELTS_C + SPAN_K), vec![Segment::hold(minutes).unwrap()])
            .unwrap();
    let grid = Grid {
        radial: 8,
        axial: cells,
        step: Minutes::of(step_s / 60.0),
        sample: Minutes::of(60.0),
    };
    let end = Minutes::of(minutes);
    let section = section_at(body, &programme, &Kiln::Ideal, &grid, end).unwrap();
    let height_m = body.height.get() / 1000.0;
    let dz_m = height_m / section.rows() as f64;
    let column: Vec<(f64, f64)> = (0..section.rows())
        .rev()
        .enumerate()
        .map(|(depth, row)| {
            let t = section.temperature(0, row).unwrap().get();
            ((depth as f64 + 0.5) * dz_m, t)
        })
        .collect();
    let melted = column.iter().map(|(_, t)| ((t - MELTS_C) / WIDTH_K).clamp(0.0, 1.0) * dz_m).sum();
    (melted, column)
}

/// λ of one phase; Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., section 11.2
/// (from memory).
#[test]
fn the_judge_itself_gives_the_known_lambdas() {
    for (stefan, lambda) in [(0.01, 0.070593), (0.5, 0.464786), (1.0, 0.620063), (5.0, 1.059687)] {
        assert!((one_phase_lambda(stefan) - lambda).abs() < 1.0e-6);
    }
    #[rustfmt::skip]
    let two_phase = [(0.2, 1.0, 0.549724), (1.0, 1.0, 0.377760), (0.5, 2.0, 0.383410),
                     (0.3, 0.5, 0.623249)];
    for (far, latent, lambda) in two_phase {
        let found = two_phase_lambda(1.0, far, latent);
        assert!((found - lambda).abs() < 1.0e-6, "{found} against {lambda}");
    }
}

#[test]
fn a_front_of_one_phase_moves_as_stefan_says() {
    for stefan in [0.05, 0.2, 1.0, 3.0] {
        let lambda = one_phase_lambda(stefan);
        // Until the front is half way down.
        let height_mm: f64 = 200.0;
        let seconds = (height_mm / 2000.0 / (2.0 * lambda)).powi(2) / DIFFUSIVITY_M2_S;
        let body = plate(height_mm, 1.0 / stefan, 0.0);
        let (front_m, _) = melt(&body, seconds, seconds / 1000.0, 200);
        let exact_m = 2.0 * lambda * (DIFFUSIVITY_M2_S * seconds).sqrt();
        let miss = front_m / exact_m - 1.0;
        assert!(miss.abs() < 0.005, "Ste {stefan}: {front_m} against {exact_m}, {miss}");
    }
}

#[test]
fn a_front_between_two_phases_moves_as_neumann_says() {
    for (far, latent) in [(0.2, 1.0), (1.0, 1.0), (0.5, 2.0), (0.3, 0.5)] {
        let lambda = two_phase_lambda(1.0, far, latent);
        // One unit of length is 50 mm, a tenth of the way to the rim; the plate is five, the time one unit.
        let unit_m: f64 = 0.05;
        let seconds = unit_m * unit_m / DIFFUSIVITY_M2_S;
        let body = plate(5.0 * unit_m * 1000.0, latent, far);
        let (front_m, column) = melt(&body, seconds, 2.5, 500);
        let miss = front_m / (2.0 * lambda * unit_m) - 1.0;
        assert!(miss.abs() < 0.005, "far {far}, latent {latent}: missed by {miss}");
        // Temperatures in both phases: 1 − erf(x/2)/erf λ above the front, far side below.
        for (x, t) in column.iter().step_by(25).filter(|(x, _)| *x < 2.5 * unit_m) {
            let eta = x / unit_m / 2.0;
            let exact = if eta < lambda {
                1.0 - erf(eta) / erf(lambda)
            } else {
                -far * (1.0 - (1.0 - erf(eta)) / (1.0 - erf(lambda)))
            };
            let found = (t - MELTS_C) / SPAN_K;
            assert!((found - exact).abs() < 0.01, "far {far} at {eta}: {found} against {exact}");
        }
    }
}

/// The heat of a flask from 22 to 732.2 °C, added up by hand: dry mould 1.0 kJ/(kg·K), free and
/// bound water after the mix, 2257 kJ/kg to boil, 660 kJ/kg to dry the gypsum, 1.6 mm of steel at
/// 7900 kg/m³ and 560 J/(kg·K).
#[test]
fn the_heat_of_a_firing_is_what_adding_up_gives() {
    #[rustfmt::skip]
    let table = [
        // in, in: warm water, evaporate, dry the gypsum, dry mould, steel, total, kWh
        (2.5, 2.5, [0.0079, 0.0548, 0.0153, 0.0487, 0.0177], 0.1445),
        (3.5, 4.0, [0.0248, 0.1719, 0.0480, 0.1528, 0.0396], 0.4372),
        (4.0, 8.0, [0.0649, 0.4491, 0.1254, 0.3992, 0.0906], 1.1291),
    ];
    for (diameter_in, height_in, parts, total) in table {
        assert!((parts.iter().sum::<f64>() - total).abs() < 2.0e-4);
        let (body, _) = FlaskBody::gypsum_bonded(
            Millimetres::from_inches(diameter_in).unwrap(),
            Millimetres::from_inches(height_in).unwrap(),
            GypsumMix::default(),
        )
        .unwrap();
        let programme = Programme::new(
            Celsius::of(22.0),
            vec![Segment::ramp(732.2, 150.0).unwrap(), Segment::hold(1800.0).unwrap()],
        )
        .unwrap();
        let run = simulate(&body, &programme, &Kiln::Ideal, &Grid::default()).unwrap();
        let miss = run.flask_kwh / total - 1.0;
        assert!(miss.abs() < 0.01, "{diameter_in} in: {} against {total}", run.flask_kwh);
    }
}

/// Nothing is lost in the splitting: all heat that a closed flask takes up is found in its
/// temperatures.
#[test]
fn heat_taken_up_is_heat_stored() {
    let mut investment = InvestmentHeat::dry(1200.0, 900.0, 0.5);
    investment.specific_heat_j_kgk = vec![(20.0, 800.0), (500.0, 1000.0), (700.0, 1100.0)];
    investment.conductivity_w_mk = vec![(20.0, 0.6), (400.0, 0.4), (800.0, 0.6)];
    let body = FlaskBody {
        inside_diameter: Millimetres::of(90.0),
        height: Millimetres::of(120.0),
        wall: None,
        investment,
        tree: None,
        base: Base::Shelf,
        surface: Surface::default(),
        start: Celsius::of(20.0),
    };
    let programme = Programme::new(
        Celsius::of(20.0),
        vec![Segment::ramp(700.0, 200.0).unwrap(), Segment::hold(2000.0).unwrap()],
    )
    .unwrap();
    let run = simulate(&body, &programme, &Kiln::Ideal, &Grid::default()).unwrap();
    // Mean capacity: 900 J/(kg·K) over 480 K, 1050 over 200 K.
    let volume_m3 = std::f64::consts::PI * 0.045 * 0.045 * 0.12;
    let by_hand = volume_m3 * 1200.0 * (900.0 * 480.0 + 1050.0 * 200.0) / 3.6e6;
    assert!((run.flask_kwh / by_hand - 1.0).abs() < 1.0e-3, "{} {by_hand}", run.flask_kwh);
}
