//! Conduction against the series solutions of wall, cylinder and short cylinder.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod heat_support;

use foundry::heat::{
    Base, Convection, FlaskBody, Grid, InvestmentHeat, Kiln, OutOfKiln, Programme, Sample, Segment,
    Surface, cool, section_at, simulate,
};
use foundry::quantity::{Celsius, Millimetres, Minutes};
use heat_support::{ShortCylinder, cylinder, cylinder_terms, slab, slab_terms};

/// The series used as judge against the tabulated first roots and coefficients: Incropera and
/// DeWitt, Fundamentals of Heat and Mass Transfer, Table 5.1 (from memory; printed to four digits,
/// here computed to five).
#[test]
fn the_judge_itself_gives_the_tabulated_roots_and_coefficients() {
    #[rustfmt::skip]
    let table = [
        (0.01, 0.09983, 1.00166, 0.14124, 1.00250),
        (0.1, 0.31105, 1.01609, 0.44168, 1.02458),
        (1.0, 0.86033, 1.11913, 1.25578, 1.20709),
        (3.0, 1.19246, 1.21023, 1.78866, 1.41909),
        (10.0, 1.42887, 1.26196, 2.17950, 1.56769),
        (100.0, 1.55525, 1.27309, 2.38090, 1.60152),
    ];
    for (bi, wall_zeta, wall_c, round_zeta, round_c) in table {
        let (wall, round) = (slab_terms(bi, 1)[0], cylinder_terms(bi, 1)[0]);
        for (found, expected) in
            [(wall.zeta, wall_zeta), (wall.c, wall_c), (round.zeta, round_zeta), (round.c, round_c)]
        {
            assert!((found - expected).abs() < 1.0e-5, "Bi {bi}: {found} against {expected}");
        }
    }
}

/// Six digits of the series, computed beforehand with 60 terms by another program.
#[test]
fn the_judge_itself_gives_six_digits_of_the_short_cylinder() {
    let product = |bi: f64, fo: f64, ratio: f64, r: f64, z: f64| {
        cylinder(&cylinder_terms(bi, 40), fo, r)
            * slab(&slab_terms(bi * ratio, 40), fo / ratio / ratio, z)
    };
    #[rustfmt::skip]
    let table = [
        (1.0, 0.2, 1.0, [0.827224, 0.559862, 0.542082, 0.366879, 0.697955]),
        (2.0, 0.3, 1.5, [0.594429, 0.249453, 0.272434, 0.114327, 0.442414]),
        (5.0, 0.2, 1.2, [0.627602, 0.155939, 0.148546, 0.036909, 0.403419]),
        (0.5, 1.0, 1.0, [0.321149, 0.255026, 0.253926, 0.201644, 0.287575]),
    ];
    let points = [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0), (0.5, 0.5)];
    for (bi, fo, ratio, expected) in table {
        for ((r, z), expected) in points.into_iter().zip(expected) {
            let found = product(bi, fo, ratio, r, z);
            assert!((found - expected).abs() < 2.0e-6, "Bi {bi} at ({r}, {z}): {found}");
        }
    }
}

const K: f64 = 0.45;
const CAPACITY: f64 = 1.23e6;
/// Start and surroundings of the step tests, °C: a span of 1000 K makes 1 K a thousandth.
const START_C: f64 = 20.0;
const AROUND_C: f64 = 1020.0;

fn block(diameter_mm: f64, height_mm: f64, h: f64) -> FlaskBody {
    FlaskBody {
        inside_diameter: Millimetres::of(diameter_mm),
        height: Millimetres::of(height_mm),
        wall: None,
        investment: InvestmentHeat::dry(CAPACITY / 1000.0, 1000.0, K),
        tree: None,
        base: Base::Raised,
        surface: Surface { emissivity: 0.0, convection: Convection::Constant(h) },
        start: Celsius::of(START_C),
    }
}

/// What is left of a step of the surroundings at core and half way, at a Fourier number on the
/// radius or half height `length_m`.
fn after_step(body: &FlaskBody, grid: &Grid, fo: f64, length_m: f64) -> (f64, f64) {
    let minutes = fo * length_m * length_m * CAPACITY / K / 60.0;
    let programme =
        Programme::new(Celsius::of(AROUND_C), vec![Segment::hold(minutes).unwrap()]).unwrap();
    let run = simulate(body, &programme, &Kiln::Ideal, grid).unwrap();
    let end: Sample = *run.samples.last().unwrap();
    let left = |t: Celsius| (AROUND_C - t.get()) / (AROUND_C - START_C);
    (left(end.core), left(end.mid))
}

fn grid(radial: usize, axial: usize, step_min: f64) -> Grid {
    Grid { radial, axial, step: Minutes::of(step_min), sample: Minutes::of(10.0) }
}

/// Within 0.002 of the step at 40 cells a radius.
const STATED: f64 = 0.002;

#[test]
fn a_long_cylinder_follows_its_series() {
    // 15 radii long, so that the ends do not reach the middle.
    let (diameter_mm, length_m) = (100.0, 0.05);
    #[rustfmt::skip]
    let table = [
        (0.5, 0.5, 0.715749), (1.0, 0.1, 0.976817), (1.0, 0.2, 0.870174), (1.0, 0.5, 0.548586),
        (1.0, 1.0, 0.249380), (2.0, 0.2, 0.789986), (2.0, 0.5, 0.372397), (5.0, 0.2, 0.671418),
        (5.0, 0.5, 0.207554), (10.0, 0.1, 0.900080), (10.0, 0.5, 0.145800),
    ];
    for (bi, fo, exact) in table {
        let body = block(diameter_mm, 1500.0, bi * K / length_m);
        let (core, mid) = after_step(&body, &grid(40, 40, 0.25), fo, length_m);
        assert!((core - exact).abs() < STATED, "Bi {bi}, Fo {fo}: {core} against {exact}");
        let exact = cylinder(&cylinder_terms(bi, 20), fo, 0.5);
        assert!((mid - exact).abs() < STATED, "Bi {bi}, Fo {fo}, half way: {mid}, {exact}");
    }
}

#[test]
fn a_wide_slab_follows_its_series() {
    // 25 half thicknesses from the middle to the rim.
    let length_m = 0.02;
    #[rustfmt::skip]
    let table = [
        (0.5, 0.5, 0.864114), (1.0, 0.1, 0.993108), (1.0, 0.5, 0.772526), (2.0, 0.2, 0.917892),
        (2.0, 1.0, 0.369556), (5.0, 0.2, 0.864881), (5.0, 0.5, 0.523109), (10.0, 0.5, 0.454641),
    ];
    for (bi, fo, exact) in table {
        let body = block(1000.0, 40.0, bi * K / length_m);
        let (core, _) = after_step(&body, &grid(40, 80, 0.05), fo, length_m);
        assert!((core - exact).abs() < STATED, "Bi {bi}, Fo {fo}: {core} against {exact}");
    }
}

#[test]
fn the_default_grid_is_within_half_a_percent_of_a_short_cylinder() {
    let length_m = 0.05;
    #[rustfmt::skip]
    let table = [
        (1.0, 0.2, 1.0, 0.827224), (1.0, 0.5, 1.0, 0.423797), (2.0, 0.3, 1.5, 0.594429),
        (2.0, 0.5, 2.0, 0.357542), (5.0, 0.2, 1.2, 0.627602), (0.5, 1.0, 1.0, 0.321149),
    ];
    for (bi, fo, ratio, exact) in table {
        let body = block(100.0, 100.0 * ratio, bi * K / length_m);
        let (core, _) = after_step(&body, &Grid::default(), fo, length_m);
        assert!((core - exact).abs() < 0.005, "Bi {bi}, Fo {fo}: {core} against {exact}");
    }
}

/// Cells and steps halved together: the error falls to a quarter.
#[test]
fn the_error_falls_with_the_square_of_cells_and_steps() {
    let length_m = 0.05;
    let (bi, fo, ratio, exact) = (2.0, 0.3, 1.5, 0.594429);
    let body = block(100.0, 100.0 * ratio, bi * K / length_m);
    let errors: Vec<f64> = [(8, 16, 4.0), (16, 32, 2.0), (32, 64, 1.0)]
        .into_iter()
        .map(|(radial, axial, step)| {
            (after_step(&body, &grid(radial, axial, step), fo, length_m).0 - exact).abs()
        })
        .collect();
    for pair in errors.windows(2) {
        let ratio = pair[0] / pair[1];
        assert!((3.0..6.0).contains(&ratio), "errors {errors:?}: ratio {ratio}");
    }
}

/// Time alone, on one grid, against its own limit: second order too.
#[test]
fn the_error_in_time_alone_falls_with_the_square_of_the_step() {
    let body = block(100.0, 120.0, 30.0);
    let ramp = vec![Segment::ramp(600.0, 300.0).unwrap()];
    let programme = Programme::new(Celsius::of(START_C), ramp).unwrap();
    let core = |step: f64| {
        let run = simulate(&body, &programme, &Kiln::Ideal, &grid(16, 24, step)).unwrap();
        run.samples.last().unwrap().core.get()
    };
    let limit = core(0.0625);
    let errors: Vec<f64> = [8.0, 4.0, 2.0].into_iter().map(|dt| (core(dt) - limit).abs()).collect();
    for pair in errors.windows(2) {
        let ratio = pair[0] / pair[1];
        assert!((2.8..6.5).contains(&ratio), "errors {errors:?}: ratio {ratio}");
    }
}

/// Y. A. Cengel, Heat Transfer, Example 4-8, a short brass cylinder of 100 × 120 mm at 120 °C in
/// air at 25 °C, 60 W/(m²·K), 110 W/(m·K), 3.39e-5 m²/s, after 900 s: the book reads 63 °C for the
/// centre from charts (as quoted in a companion to the book); the series gives 62.732 °C, and
/// 62.123 °C in the middle of the top.
#[test]
fn the_textbook_brass_cylinder_cools_as_printed() {
    let capacity = 110.0 / 3.39e-5;
    let body = FlaskBody {
        investment: InvestmentHeat::dry(capacity / 1000.0, 1000.0, 110.0),
        ..block(100.0, 120.0, 60.0)
    };
    let cooling = cool(
        &body,
        OutOfKiln::Even(Celsius::of(120.0)),
        Celsius::of(25.0),
        Minutes::of(15.0),
        &grid(20, 40, 0.25),
    )
    .unwrap();
    let centre = cooling.samples.last().unwrap().core.get();
    assert!((centre - 62.732).abs() < 0.02, "centre {centre}");
    assert!((centre - 63.0).abs() < 1.0, "the book's chart");
    let exact = ShortCylinder::new(0.05, 0.06, 110.0, capacity, 60.0, 20);
    assert!((25.0 + 95.0 * exact.step(900.0, 0.0, 1.0) - 62.123).abs() < 0.01);

    let programme = Programme::new(Celsius::of(25.0), vec![Segment::hold(15.0).unwrap()]).unwrap();
    let hot = FlaskBody { start: Celsius::of(120.0), ..body };
    let end = Minutes::of(15.0);
    let section = section_at(&hot, &programme, &Kiln::Ideal, &grid(20, 40, 0.25), end).unwrap();
    let top = section.temperature(0, section.rows() - 1).unwrap().get();
    assert!((top - 62.123).abs() < 0.05, "middle of the top {top}");
}

/// A ramp of the surroundings at 150 K/h on a long cylinder of 44.45 mm radius: the lag of centre
/// and surface from the series.
#[test]
fn the_lag_behind_a_ramp_is_that_of_the_series() {
    let body = block(88.9, 1500.0, 30.0);
    let ramp = vec![Segment::ramp(320.0, 150.0).unwrap()];
    let programme = Programme::new(Celsius::of(START_C), ramp).unwrap();
    let fine = Grid { sample: Minutes::of(1.0), ..grid(40, 40, 0.5) };
    let run = simulate(&body, &programme, &Kiln::Ideal, &fine).unwrap();
    for (minutes, centre) in [(10.0, 24.584), (30.0, 59.495), (60.0, 82.187), (120.0, 92.779)] {
        let at = run.at(Minutes::of(minutes)).unwrap();
        let lag = (at.kiln - at.core).get();
        assert!((lag - centre).abs() < 0.1, "after {minutes} min: {lag} against {centre}");
    }
}
