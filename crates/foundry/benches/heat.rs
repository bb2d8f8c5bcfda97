//! How long a burnout takes to compute.
//!
//! `cargo bench -p foundry --bench heat`

#![allow(
    missing_docs,
    clippy::unwrap_used,
    reason = "a benchmark fails by panicking, and its functions are named by what they measure"
)]

use divan::{Bencher, black_box};
use foundry::heat::{
    Behind, Binder, BuildTargets, FlaskBody, Grid, GypsumMix, KelvinsPerHour, Kiln, Limits,
    OutOfKiln, PatternFamily, PoweredKiln, Programme, Segment, cool, shortest_safe, simulate,
};
use foundry::quantity::{Celsius, Millimetres, Minutes};

fn main() {
    divan::main();
}

fn flask(diameter_in: f64, height_in: f64) -> FlaskBody {
    let inches = |n| Millimetres::from_inches(n).unwrap();
    FlaskBody::gypsum_bonded(inches(diameter_in), inches(height_in), GypsumMix::default())
        .unwrap()
        .0
}

/// Twenty-four hours: the usual holds, ramped to slowly, and a long hold to cast.
fn day() -> Programme {
    let segments = [
        Segment::ramp(149.0, 100.0),
        Segment::hold(180.0),
        Segment::ramp(371.0, 100.0),
        Segment::hold(120.0),
        Segment::ramp(732.0, 100.0),
        Segment::hold(240.0),
        Segment::ramp(538.0, 100.0),
        Segment::hold(357.6),
    ];
    let segments = segments.into_iter().collect::<Result<Vec<_>, _>>().unwrap();
    let programme = Programme::new(Celsius::of(22.0), segments).unwrap();
    assert!((programme.total().hours() - 24.0).abs() < 0.05);
    programme
}

/// Diameter and height, in.
const SIZES: [(f64, f64); 3] = [(2.5, 2.5), (3.5, 4.0), (4.0, 8.0)];

#[divan::bench(args = SIZES)]
fn a_day_on_one_flask(bencher: Bencher<'_, '_>, (diameter, height): (f64, f64)) {
    let (body, programme, grid) = (flask(diameter, height), day(), Grid::default());
    bencher.bench(|| simulate(black_box(&body), &programme, &Kiln::Ideal, &grid).unwrap());
}

#[divan::bench]
fn a_day_in_a_powered_kiln(bencher: Bencher<'_, '_>) {
    let (body, programme, grid) = (flask(3.5, 4.0), day(), Grid::default());
    let kiln = PoweredKiln {
        power_w: 2400.0,
        loss_w_k: 1.6,
        lining_j_k: 25_000.0,
        furniture_j_k: 0.0,
        top: Celsius::of(1100.0),
        room: Celsius::of(22.0),
        behind: Behind::Waits,
    };
    let powered = Kiln::Powered { kiln, flasks: 8 };
    bencher.bench(|| simulate(black_box(&body), &programme, &powered, &grid).unwrap());
}

#[divan::bench(args = SIZES, max_time = 5)]
fn the_shortest_safe_programme(bencher: Bencher<'_, '_>, (diameter, height): (f64, f64)) {
    let (body, programme) = (flask(diameter, height), day());
    let limits = Limits::usual(Binder::Gypsum, PatternFamily::CastableResin);
    let targets = BuildTargets {
        body: &body,
        limits: &limits,
        casting: Celsius::of(538.0),
        kiln: &Kiln::Ideal,
        heating: KelvinsPerHour::of(150.0),
        cooling: KelvinsPerHour::of(100.0),
    };
    bencher.bench(|| shortest_safe(black_box(&programme), &targets, 0.1).unwrap());
}

#[divan::bench]
fn ten_minutes_on_the_bench(bencher: Bencher<'_, '_>) {
    let (body, grid) = (flask(3.5, 4.0), Grid::default());
    let out = OutOfKiln::Even(Celsius::of(538.0));
    let air = Celsius::of(22.0);
    bencher.bench(|| cool(black_box(&body), out, air, Minutes::of(10.0), &grid).unwrap());
}
