//! A whole firing: dry against the exact solution, wet against an independent computation.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use foundry::heat::{
    Base, Convection, FlaskBody, Grid, InvestmentHeat, Kiln, Programme, Reaction, Segment, Surface,
    simulate,
};
use foundry::quantity::{Celsius, Millimetres, Minutes};

/// The small-flask cycle in °F: 2 h at 300, 1 h at 700, 2 h at 1350, cast at 1000 after 1 h, heated
/// at 150 K/h and cooled at 100 K/h. The cycle is common practice, no source.
fn small_flask_cycle() -> Programme {
    let to = |fahrenheit: f64, rate_k_h: f64| Segment::ramp((fahrenheit - 32.0) / 1.8, rate_k_h);
    let segments = [
        to(300.0, 150.0),
        Segment::hold(120.0),
        to(700.0, 150.0),
        Segment::hold(60.0),
        to(1350.0, 150.0),
        Segment::hold(120.0),
        to(1000.0, 100.0),
        Segment::hold(60.0),
    ];
    let segments = segments.into_iter().collect::<Result<Vec<_>, _>>().unwrap();
    Programme::new(Celsius::of(22.0), segments).unwrap()
}

/// A bare block heated from all sides through 30 W/(m²·K), without radiation.
fn block(diameter_in: f64, height_in: f64, investment: InvestmentHeat) -> FlaskBody {
    FlaskBody {
        inside_diameter: Millimetres::from_inches(diameter_in).unwrap(),
        height: Millimetres::from_inches(height_in).unwrap(),
        wall: None,
        investment,
        tree: None,
        base: Base::Raised,
        surface: Surface { emissivity: 0.0, convection: Convection::Constant(30.0) },
        start: Celsius::of(22.0),
    }
}

fn dry() -> InvestmentHeat {
    InvestmentHeat::dry(1230.0, 1000.0, 0.45)
}

/// Free water 434.84 kg/m³ and 274.01 MJ/m³ of drying gypsum: 40 g of water to 100 g of powder
/// with 28 % hemihydrate.
fn wet() -> InvestmentHeat {
    InvestmentHeat {
        free_water_kg_m3: 434.84,
        reactions: vec![Reaction {
            name: "gypsum dries",
            from_c: 120.0,
            to_c: 160.0,
            heat_j_m3: 274.01e6,
        }],
        ..dry()
    }
}

fn assert_near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found:.4}, expected {expected}");
}

/// Duhamel's integral over the product of the cylinder's and the slab's series, in closed form
/// for a kiln curve of straight pieces; computed with 60 terms each.
#[test]
fn a_dry_block_follows_the_exact_solution_through_a_whole_firing() {
    #[rustfmt::skip]
    let cases = [
        (2.5, 2.5, [106.67, 148.89, 328.24, 370.80, 689.32, 732.22, 566.38, 537.99],
                   [111.70, 148.89, 333.38, 370.85, 694.46, 732.22, 562.95, 537.95]),
        (3.5, 4.0, [78.70, 148.63, 294.34, 366.16, 654.29, 731.94, 589.57, 541.11],
                   [88.24, 148.68, 305.13, 367.10, 665.30, 732.00, 582.26, 540.48]),
        (4.0, 8.0, [61.37, 146.72, 265.58, 353.34, 620.47, 729.57, 610.93, 550.02],
                   [73.84, 147.16, 281.67, 356.91, 637.81, 730.10, 599.64, 547.56]),
    ];
    let programme = small_flask_cycle();
    for (diameter, height, core, mid) in cases {
        let run =
            simulate(&block(diameter, height, dry()), &programme, &Kiln::Ideal, &Grid::default())
                .unwrap();
        for (index, knot) in programme.knots()[1..].iter().enumerate() {
            let at = run.at(knot.minute).unwrap();
            let name = format!("{diameter} × {height} in at corner {}", index + 1);
            assert_near(&format!("{name}, core"), at.core.get(), core[index], 0.1);
            assert_near(&format!("{name}, half way"), at.mid.get(), mid[index], 0.1);
        }
    }
}

/// The same firing with water, against an independent axisymmetric enthalpy computation on 16 to
/// 32 cells, which agree among themselves within 0.1 K.
#[test]
fn a_wet_block_dries_when_an_independent_computation_says() {
    #[rustfmt::skip]
    let cases = [
        (2.5, 2.5, [63.9, 100.0, 100.0, 370.1, 689.3, 732.2, 566.4, 538.0],
                   [(101.0, 4.38), (366.0, 5.00), (700.0, 7.81), (727.0, 8.18)]),
        (3.5, 4.0, [37.9, 99.4, 100.0, 100.0, 654.1, 731.9, 589.6, 541.1],
                   [(101.0, 5.48), (366.0, 5.90), (700.0, 8.09), (727.0, 8.74)]),
        (4.0, 8.0, [30.3, 94.4, 99.8, 100.0, 610.2, 729.4, 611.0, 550.0],
                   [(101.0, 6.39), (366.0, 6.64), (700.0, 8.49), (727.0, 9.45)]),
    ];
    let programme = small_flask_cycle();
    for (diameter, height, core, passes) in cases {
        let run =
            simulate(&block(diameter, height, wet()), &programme, &Kiln::Ideal, &Grid::default())
                .unwrap();
        for (index, knot) in programme.knots()[1..].iter().enumerate() {
            let name = format!("{diameter} × {height} in at corner {}", index + 1);
            assert_near(&name, run.at(knot.minute).unwrap().core.get(), core[index], 1.0);
        }
        for (level, hours) in passes {
            let name = format!("{diameter} × {height} in passes {level} °C");
            assert_near(&name, run.core_passes(Celsius::of(level)).unwrap().hours(), hours, 0.05);
        }
    }
}

#[test]
fn the_cycle_lasts_as_long_as_its_ramps_and_holds() {
    let programme = small_flask_cycle();
    let hours = [0.8459, 2.8459, 4.3274, 5.3274, 7.7348, 9.7348, 11.6793, 12.6793];
    for (knot, expected) in programme.knots()[1..].iter().zip(hours) {
        assert_near("corner", knot.minute.hours(), expected, 5.0e-5);
    }
    assert_near("half way up", programme.temperature_at(Minutes::of(25.377)).get(), 85.44, 0.01);
}
