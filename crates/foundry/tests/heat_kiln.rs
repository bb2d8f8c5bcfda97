//! The kiln: closed forms of its balance, and the balance kept through a firing.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use foundry::heat::{
    Behind, Binder, FlaskBody, Grid, GypsumMix, HeatRefusal, InvestmentHeat, KelvinsPerHour, Kiln,
    Limits, MINUTES_OF_WEEK, PatternFamily, PoweredKiln, Programme, Segment, Tariff, TariffBand,
    cost, judge, simulate,
};
use foundry::quantity::{Celsius, Currency, Millimetres, Minutes};
use rust_decimal::Decimal;

fn kiln(behind: Behind) -> PoweredKiln {
    PoweredKiln {
        power_w: 2400.0,
        loss_w_k: 1.6,
        lining_j_k: 25_000.0,
        furniture_j_k: 0.0,
        top: Celsius::of(1100.0),
        room: Celsius::of(22.0),
        behind,
    }
}

fn flask() -> FlaskBody {
    let inches = |n| Millimetres::from_inches(n).unwrap();
    FlaskBody::gypsum_bonded(inches(3.5), inches(4.0), GypsumMix::default()).unwrap().0
}

fn near(found: f64, expected: f64, part: f64) {
    assert!((found / expected - 1.0).abs() < part, "{found} against {expected}");
}

/// C·dT/dt = P − UA·(T − room) solved by hand for 2400 W, 1.6 W/K, 25 kJ/K and flasks of 1026 J/K;
/// the first-order balance of any heat-transfer text.
#[test]
fn full_power_holds_and_ramps_follow_the_closed_forms() {
    let kiln = kiln(Behind::Waits);
    let (room, top) = (Celsius::of(22.0), Celsius::of(732.2));
    let rate = KelvinsPerHour::of(150.0);
    #[rustfmt::skip]
    let table = [
        (0.0, 2.784, 345.6, 189.4, 7.622),
        (4.0, 3.241, 296.9, 162.7, 8.432),
        (8.0, 3.698, 260.2, 142.6, 9.241),
        (12.0, 4.155, 231.6, 126.9, 10.051),
    ];
    for (flasks, hours, cold_k_h, hot_k_h, ramp_kwh) in table {
        let load = flasks * 1026.0;
        near(kiln.full_power_time(room, top, load).unwrap().hours(), hours, 1.0e-3);
        near(kiln.steepest_k_h(room, load), cold_k_h, 1.0e-3);
        near(kiln.steepest_k_h(Celsius::of(700.0), load), hot_k_h, 1.0e-3);
        near(kiln.ramp_kwh(top, rate, load), ramp_kwh, 1.0e-3);
        near(kiln.hold_kwh(top, Minutes::of(120.0)), 2.273, 1.0e-3);
    }
    let eight = 8.0 * 1026.0;
    near(kiln.follows_up_to(rate, eight).unwrap().get(), 657.0, 2.0e-3);
    near(kiln.follows_up_to(rate, 12.0 * 1026.0).unwrap().get(), 550.0, 2.0e-3);
    near(kiln.cooling_time(top, Celsius::of(537.8), eight).unwrap().hours(), 1.844, 1.0e-3);
    assert_eq!(kiln.full_power_time(room, Celsius::of(1600.0), eight), None);
    assert_eq!(kiln.cooling_time(top, Celsius::of(10.0), eight), None);
}

/// Its mould, 0.631 L at 1.228 kg/L and 1000 J/(kg·K), and a steel ring of mean diameter 90.5 mm.
#[test]
fn a_flask_stores_what_its_mould_and_steel_store() {
    let steel_m3 = std::f64::consts::PI * 0.0905 * 0.0016 * 0.1016;
    near(flask().fired_capacity_j_k(), 0.6307 * 1228.3 + steel_m3 * 7900.0 * 560.0, 1.0e-3);
}

#[test]
fn what_the_elements_give_is_stored_lost_or_in_the_flasks() {
    for behind in [Behind::Waits, Behind::RunsOn] {
        for (flasks, lining) in [(1, 25_000.0), (8, 25_000.0), (8, 2_000.0)] {
            let kiln = PoweredKiln { lining_j_k: lining, ..kiln(behind) };
            let programme = Programme::new(
                Celsius::of(22.0),
                vec![
                    Segment::ramp(149.0, 150.0).unwrap(),
                    Segment::hold(120.0).unwrap(),
                    Segment::ramp(732.0, 150.0).unwrap(),
                    Segment::hold(120.0).unwrap(),
                ],
            )
            .unwrap();
            let grid = Grid { step: Minutes::of(1.0), sample: Minutes::of(0.5), ..Grid::default() };
            let powered = Kiln::Powered { kiln, flasks };
            let run = simulate(&flask(), &programme, &powered, &grid).unwrap();
            let lost_j: f64 = run
                .samples
                .windows(2)
                .map(|pair| {
                    let mean = (pair[0].kiln.get() + pair[1].kiln.get()) / 2.0 - 22.0;
                    1.6 * mean * (pair[1].minute - pair[0].minute).get() * 60.0
                })
                .sum();
            let end = run.samples.last().unwrap();
            let stored_j = lining * (end.kiln.get() - 22.0);
            let sum = (lost_j + stored_j) / 3.6e6 + f64::from(flasks) * run.flask_kwh;
            near(run.kiln_kwh.unwrap(), sum, 5.0e-3);
            near(run.drawn_kwh.iter().sum(), run.kiln_kwh.unwrap(), 1.0e-9);
        }
    }
}

#[test]
fn a_kiln_that_falls_behind_waits_or_runs_on() {
    let programme = Programme::new(
        Celsius::of(22.0),
        vec![Segment::ramp(732.0, 300.0).unwrap(), Segment::hold(60.0).unwrap()],
    )
    .unwrap();
    let run = |behind| {
        let powered = Kiln::Powered { kiln: kiln(behind), flasks: 8 };
        simulate(&flask(), &programme, &powered, &Grid::default()).unwrap()
    };
    let waits = run(Behind::Waits);
    assert!(waits.waited > Minutes::of(30.0));
    assert_eq!((waits.waited_cooling, waits.fell_k_h), (Minutes::ZERO, None), "it heats only");
    let longer = (waits.total - programme.total()).get() - waits.waited.get();
    assert!(longer.abs() < 2.0, "the wait is what makes it longer: {longer}");
    assert!((waits.samples.last().unwrap().kiln.get() - 732.0).abs() < 1.0);
    let runs_on = run(Behind::RunsOn);
    assert!((runs_on.total - programme.total()).get().abs() < 1.0e-6);
    assert!(runs_on.samples.iter().any(|s| s.asked.get() - s.kiln.get() > 50.0));
}

/// A way down that is too steep for the closed kiln: it waits for the kiln to cool, and says so.
#[test]
fn a_kiln_that_cools_too_slowly_is_not_said_to_lack_power() {
    let programme = Programme::new(
        Celsius::of(22.0),
        vec![
            Segment::ramp(632.0, 120.0).unwrap(),
            Segment::hold(120.0).unwrap(),
            Segment::ramp(500.0, 900.0).unwrap(),
            Segment::hold(60.0).unwrap(),
        ],
    )
    .unwrap();
    let powered = kiln(Behind::Waits);
    let run = simulate(
        &flask(),
        &programme,
        &Kiln::Powered { kiln: powered, flasks: 1 },
        &Grid::default(),
    )
    .unwrap();
    let fell = run.fell_k_h.unwrap();
    // Between the rates at both ends: empty at the hot one, with the flask at the cold one.
    let load = flask().fired_capacity_j_k();
    let (slow, fast) = (
        powered.cooling_k_h(Celsius::of(500.0), load),
        powered.cooling_k_h(Celsius::of(632.0), 0.0),
    );
    assert!(slow * 0.8 < fell && fell < fast, "{slow} < {fell} < {fast}");
    assert!(run.waited_cooling > Minutes::of(5.0), "{:?}", run.waited_cooling);
    let longer = (run.total - programme.total()).get();
    assert!((longer - run.waited.get()).abs() < 2.0, "{longer}");
    let limits = Limits::usual(Binder::Gypsum, PatternFamily::Wax);
    let verdict = judge(&run, Celsius::of(500.0), &limits);
    let said: Vec<String> =
        verdict.findings.iter().map(|finding| finding.concern.to_string()).collect();
    let cools = format!("for the kiln to cool: closed, it falls only {fell:.0} K/h");
    assert!(said.iter().any(|one| one.contains(&cools)), "{said:?}");
    assert!(said.iter().all(|one| !one.contains("too little power")), "{said:?}");
}

/// A light flask in a heavy kiln at full power: the exponential of the closed form.
#[test]
fn full_power_in_the_simulation_is_the_closed_form() {
    let heavy = PoweredKiln {
        lining_j_k: 250_000.0,
        power_w: 24_000.0,
        loss_w_k: 16.0,
        ..kiln(Behind::RunsOn)
    };
    let mut light = flask();
    light.wall = None;
    light.inside_diameter = Millimetres::of(20.0);
    light.height = Millimetres::of(20.0);
    light.investment = InvestmentHeat::dry(200.0, 500.0, 0.45);
    let programme = Programme::new(
        Celsius::of(22.0),
        vec![Segment::ramp(1400.0, 5000.0).unwrap(), Segment::hold(200.0).unwrap()],
    )
    .unwrap();
    let powered = Kiln::Powered { kiln: heavy, flasks: 1 };
    let run = simulate(&light, &programme, &powered, &Grid::default()).unwrap();
    for minutes in [60.0_f64, 120.0] {
        let exact = 22.0 + 1500.0 * (1.0 - (-16.0 * minutes * 60.0 / 250_000.0).exp());
        let found = run.at(Minutes::of(minutes)).unwrap().kiln.get();
        near(found, exact, 2.0e-3);
    }
}

#[test]
fn a_kiln_that_can_never_arrive_is_refused() {
    let weak = PoweredKiln { power_w: 1000.0, ..kiln(Behind::Waits) };
    let programme =
        Programme::new(Celsius::of(22.0), vec![Segment::ramp(732.0, 150.0).unwrap()]).unwrap();
    let refused =
        simulate(&flask(), &programme, &Kiln::Powered { kiln: weak, flasks: 1 }, &Grid::default());
    assert!(matches!(refused, Err(HeatRefusal::KilnCannotReach { .. })));
    let none = Kiln::Powered { kiln: kiln(Behind::Waits), flasks: 0 };
    assert!(matches!(
        simulate(&flask(), &programme, &none, &Grid::default()),
        Err(HeatRefusal::OutOfRange { .. })
    ));
}

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

#[test]
fn the_cost_follows_the_hours_of_the_week() {
    let euro = Currency::by_code("EUR").unwrap();
    let programme = Programme::new(
        Celsius::of(22.0),
        vec![Segment::ramp(300.0, 150.0).unwrap(), Segment::hold(240.0).unwrap()],
    )
    .unwrap();
    let powered = Kiln::Powered { kiln: kiln(Behind::Waits), flasks: 2 };
    let run = simulate(&flask(), &programme, &powered, &Grid::default()).unwrap();
    let drawn = run.kiln_kwh.unwrap();
    let flat = cost(&run, &Tariff::flat(decimal("0.30"), euro), 0).unwrap().value;
    near(flat.amount().to_string().parse::<f64>().unwrap(), drawn * 0.30, 1.0e-3);

    // Cheap from midnight to six on the first day, dear all other hours.
    let band = |from_minute, to_minute, price| TariffBand {
        from_minute,
        to_minute,
        price_per_kwh: decimal(price),
    };
    let bands = vec![band(360, MINUTES_OF_WEEK, "0.40"), band(0, 360, "0.10")];
    let tariff = Tariff::new(bands, euro).unwrap();
    let at = |start| cost(&run, &tariff, start).unwrap();
    near(at(0).value.amount().to_string().parse::<f64>().unwrap(), drawn * 0.10, 1.0e-3);
    near(at(600).value.amount().to_string().parse::<f64>().unwrap(), drawn * 0.40, 1.0e-3);
    // Started three hours before the end of the cheap band, and once round the end of the week.
    let split = at(180);
    assert_eq!(split.working.steps.len(), 2);
    let until = Minutes::of(180.0);
    let cheap_kwh: f64 = run
        .samples
        .windows(2)
        .zip(&run.drawn_kwh)
        .filter(|(pair, _)| pair[1].minute <= until)
        .map(|(_, kwh)| kwh)
        .sum();
    let expected = cheap_kwh * 0.10 + (drawn - cheap_kwh) * 0.40;
    near(split.value.amount().to_string().parse::<f64>().unwrap(), expected, 2.0e-3);
    assert_eq!(at(MINUTES_OF_WEEK - 60).working.steps.len(), 2);

    let ideal = simulate(&flask(), &programme, &Kiln::Ideal, &Grid::default()).unwrap();
    assert_eq!(cost(&ideal, &tariff, 0).unwrap_err(), HeatRefusal::NoElectricity);
    assert!(cost(&run, &tariff, MINUTES_OF_WEEK).is_err());
}

#[test]
fn a_tariff_with_holes_or_overlaps_is_refused() {
    let euro = Currency::by_code("EUR").unwrap();
    let band =
        |from_minute, to_minute| TariffBand { from_minute, to_minute, price_per_kwh: Decimal::ONE };
    let of = |bands| Tariff::new(bands, euro);
    assert_eq!(of(vec![]).unwrap_err(), HeatRefusal::TariffGap { minute: 0 });
    assert_eq!(
        of(vec![band(0, 100), band(200, MINUTES_OF_WEEK)]).unwrap_err(),
        HeatRefusal::TariffGap { minute: 100 }
    );
    assert_eq!(
        of(vec![band(0, 300), band(200, MINUTES_OF_WEEK)]).unwrap_err(),
        HeatRefusal::TariffOverlap { minute: 200 }
    );
    assert_eq!(of(vec![band(0, 0)]).unwrap_err(), HeatRefusal::TariffOverlap { minute: 0 });
    assert!(of(vec![band(0, MINUTES_OF_WEEK + 1)]).is_err());
    assert!(of(vec![band(0, MINUTES_OF_WEEK)]).is_ok());
}
