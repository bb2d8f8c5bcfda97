//! Programmes: what they accept, what they ask for, what is found in them.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use foundry::heat::{
    Behind, Binder, Concern, FlaskBody, GypsumMix, HeatRefusal, KelvinsPerHour, Kiln, Limits, Pace,
    PatternFamily, PoweredKiln, Programme, Segment, Severity, check,
};
use foundry::quantity::{Celsius, Millimetres, Minutes};
use proptest::prelude::*;

fn start() -> Celsius {
    Celsius::of(22.0)
}

fn ramp(to_c: f64, rate_k_h: f64) -> Segment {
    Segment::ramp(to_c, rate_k_h).unwrap()
}

fn hold(minutes: f64) -> Segment {
    Segment::hold(minutes).unwrap()
}

#[test]
fn fahrenheit_and_celsius_make_the_same_programme() {
    let fahrenheit = Programme::new(
        Celsius::from_fahrenheit(75.0).unwrap(),
        vec![Segment::ramp_fahrenheit(300.0, 270.0).unwrap(), hold(120.0)],
    )
    .unwrap();
    let celsius = Programme::new(
        Celsius::of((75.0 - 32.0) / 1.8),
        vec![ramp((300.0 - 32.0) / 1.8, 150.0), hold(120.0)],
    )
    .unwrap();
    assert!((fahrenheit.total() - celsius.total()).get().abs() < 1.0e-9);
    assert!((fahrenheit.end().get() - 148.889).abs() < 0.001);
    // 225 °F at 270 °F/h are 50 minutes.
    assert!((fahrenheit.total().get() - 170.0).abs() < 1.0e-9);
}

/// Clock time of the castable-resin cycle from 75 °F: 6 h of holds, 1275 °F of ramps up, 350 °F
/// down at 150 °F/h. The cycle is common practice, no source.
#[test]
fn the_studio_cycle_lasts_its_clock_time() {
    for (rate, hours) in [(100.0, 21.08), (150.0, 16.83), (200.0, 14.71), (300.0, 12.58)] {
        let up = |to| Segment::ramp_fahrenheit(to, rate).unwrap();
        let programme = Programme::new(
            Celsius::from_fahrenheit(75.0).unwrap(),
            vec![
                up(300.0),
                hold(120.0),
                up(700.0),
                hold(60.0),
                up(1350.0),
                hold(120.0),
                Segment::ramp_fahrenheit(1000.0, 150.0).unwrap(),
                hold(60.0),
            ],
        )
        .unwrap();
        assert!((programme.total().hours() - hours).abs() < 1.0 / 60.0, "{rate} °F/h");
        assert!((programme.top().fahrenheit() - 1350.0).abs() < 1.0e-9);
        assert!((programme.end().fahrenheit() - 1000.0).abs() < 1.0e-9);
    }
}

#[test]
fn a_ramp_within_minutes_and_one_at_a_rate_agree() {
    let within = Segment::Ramp { to: Celsius::of(172.0), pace: Pace::Within(Minutes::of(60.0)) };
    let a = Programme::new(start(), vec![within]).unwrap();
    let b = Programme::new(start(), vec![ramp(172.0, 150.0)]).unwrap();
    assert_eq!(a.total(), b.total());
    assert_eq!(a.temperature_at(Minutes::of(30.0)), Celsius::of(97.0));
    assert_eq!(a.temperature_at(Minutes::of(-5.0)), start());
    assert_eq!(a.temperature_at(Minutes::of(500.0)), Celsius::of(172.0));
}

#[test]
fn nonsense_is_refused_with_its_segment() {
    let of = |segments| Programme::new(start(), segments).unwrap_err();
    assert_eq!(of(vec![]), HeatRefusal::NoSegments);
    assert!(matches!(
        of(vec![ramp(150.0, 100.0), hold(-30.0)]),
        HeatRefusal::Backwards { segment: 2, .. }
    ));
    assert!(matches!(of(vec![hold(0.0)]), HeatRefusal::Backwards { segment: 1, .. }));
    assert!(matches!(of(vec![ramp(150.0, 0.0)]), HeatRefusal::ZeroRate { segment: 1 }));
    assert!(matches!(of(vec![ramp(22.0, 100.0)]), HeatRefusal::RampGoesNowhere { segment: 1, .. }));
    assert!(matches!(
        of(vec![ramp(1400.5, 100.0)]),
        HeatRefusal::TemperatureOutOfRange { segment: 1, .. }
    ));
    assert!(matches!(of(vec![hold(20_000.0)]), HeatRefusal::TooLong { .. }));
    assert!(matches!(of(vec![hold(1.0); 65]), HeatRefusal::TooManySegments { given: 65, .. }));
    assert!(Segment::ramp(f64::NAN, 100.0).is_err());
    assert!(Segment::ramp(100.0, -50.0).is_err());
    assert!(of(vec![ramp(150.0, 0.0)]).to_string().contains("never arrives"));
}

fn flask() -> FlaskBody {
    let inches = |n| Millimetres::from_inches(n).unwrap();
    FlaskBody::gypsum_bonded(inches(3.5), inches(4.0), GypsumMix::default()).unwrap().0
}

fn limits() -> Limits {
    Limits::usual(Binder::Gypsum, PatternFamily::CastableResin)
}

/// The published holds for a 3.5 × 4 in flask: 2 h at 149 °C, 2 h at 371, 3 h at 732, 1 h to cast
/// (a supplier's published table, as quoted in a trade forum).
fn published() -> Vec<Segment> {
    vec![
        ramp(149.0, 150.0),
        hold(120.0),
        ramp(371.0, 150.0),
        hold(120.0),
        ramp(732.0, 150.0),
        hold(180.0),
        ramp(538.0, 100.0),
        hold(60.0),
    ]
}

fn found(segments: Vec<Segment>, kiln: &Kiln) -> Vec<(Severity, Concern)> {
    let programme = Programme::new(start(), segments).unwrap();
    check(&programme, &limits(), &flask(), kiln)
        .into_iter()
        .map(|finding| (finding.severity, finding.concern))
        .collect()
}

#[test]
fn nothing_is_found_in_the_published_programme() {
    assert_eq!(found(published(), &Kiln::Ideal), vec![]);
}

#[test]
fn a_rush_through_water_and_quartz_is_found_where_it_happens() {
    let mut segments = published();
    segments[0] = ramp(149.0, 400.0);
    segments[4] = ramp(732.0, 400.0);
    let programme = Programme::new(start(), segments).unwrap();
    let findings = check(&programme, &limits(), &flask(), &Kiln::Ideal);
    let zones: Vec<(&str, f64)> = findings
        .iter()
        .filter_map(|finding| match finding.concern {
            Concern::TooSteep { zone, .. } => Some((zone, finding.minute.unwrap().get())),
            _ => None,
        })
        .collect();
    assert_eq!(zones.len(), 2);
    // 95 °C is reached after 73 K at 400 K/h.
    assert!((zones[0].1 - 73.0 / 400.0 * 60.0).abs() < 1.0e-6);
    assert!(zones[1].0.contains("quartz"));
}

#[test]
fn no_hold_for_the_water_is_found() {
    let straight = vec![ramp(732.0, 150.0), hold(180.0), ramp(538.0, 100.0), hold(60.0)];
    let found = found(straight, &Kiln::Ideal);
    assert!(found.iter().any(|(_, concern)| matches!(
        concern,
        Concern::DryingTooShort { given, .. } if (given.get() - 34.0).abs() < 0.01
    )));
}

#[test]
fn too_hot_too_cold_and_too_short_are_found() {
    let with = |top, top_min, cast_min| {
        let mut segments = published();
        segments[4] = ramp(top, 150.0);
        segments[5] = hold(top_min);
        segments[7] = hold(cast_min);
        found(segments, &Kiln::Ideal)
    };
    let danger = with(800.0, 180.0, 60.0);
    assert!(matches!(danger[0], (Severity::Danger, Concern::AboveCeiling { .. })));
    assert!(danger[0].1.to_string().contains("sulphur dioxide"));
    let note = with(745.0, 180.0, 60.0);
    assert!(matches!(note[..], [(Severity::Note, Concern::AboveUsualTop { .. })]));
    let cold = with(650.0, 180.0, 60.0);
    assert!(matches!(cold[..], [(Severity::Caution, Concern::NeverBurnsOff { .. })]));
    let short = with(732.0, 120.0, 20.0);
    assert!(short.iter().any(|(s, c)| *s == Severity::Note
        && matches!(c, Concern::TopHoldShort { published, .. } if published.get() == 180.0)));
    assert!(short.iter().any(|(_, c)| matches!(c, Concern::CastingHoldShort { .. })));
}

#[test]
fn a_kiln_too_weak_or_too_slow_to_cool_is_found() {
    let kiln = |power_w, top| PoweredKiln {
        power_w,
        loss_w_k: 1.6,
        lining_j_k: 25_000.0,
        furniture_j_k: 0.0,
        top: Celsius::of(top),
        room: start(),
        behind: Behind::Waits,
    };
    let strong = Kiln::Powered { kiln: kiln(4800.0, 1100.0), flasks: 8 };
    let found_strong = found(published(), &strong);
    // It cools at 1.6 W/K × 516 K over 33 kJ/K, which is 89 K/h and less than 100.
    assert!(matches!(found_strong[..], [(Severity::Note, Concern::CoolsTooSlowly { .. })]));
    let weak = Kiln::Powered { kiln: kiln(2400.0, 700.0), flasks: 8 };
    let found_weak = found(published(), &weak);
    assert!(matches!(found_weak[0], (Severity::Danger, Concern::AboveKilnTop { .. })));
    let behind = found_weak.iter().find_map(|(_, concern)| match concern {
        Concern::BeyondPower { segment: 5, from, .. } => Some(from.get()),
        _ => None,
    });
    // 22 + (2400 − 150/3600 × (25000 + 8 × 979)) / 1.6, with 979 J/K a flask.
    assert!((behind.unwrap() - 667.0).abs() < 2.0, "{behind:?}");
}

proptest! {
    #[test]
    fn a_programme_is_continuous_and_stays_between_its_corners(
        legs in prop::collection::vec((30.0..1000.0_f64, 1.0..500.0_f64, 1.0..600.0_f64), 1..10),
        part in 0.0..1.0_f64,
    ) {
        let mut segments = Vec::new();
        for (to, rate, minutes) in legs {
            segments.push(ramp(to, rate));
            segments.push(hold(minutes));
        }
        let Ok(programme) = Programme::new(start(), segments) else { return Ok(()) };
        let minute = programme.total() * part;
        let now = programme.temperature_at(minute);
        prop_assert!(now >= start() && now <= programme.top());
        let soon = programme.temperature_at(minute + Minutes::of(0.001));
        prop_assert!((soon - now).get().abs() < 0.01);
        let by_knots: f64 = programme
            .knots()
            .windows(2)
            .map(|pair| (pair[1].minute - pair[0].minute).get())
            .sum();
        prop_assert!((by_knots - programme.total().get()).abs() < 1.0e-6);
    }

    #[test]
    fn any_numbers_at_all_are_taken_or_refused(
        start in prop::num::f64::ANY, to in prop::num::f64::ANY, rate in prop::num::f64::ANY,
        minutes in prop::num::f64::ANY,
    ) {
        let made = Celsius::new(start).map_err(HeatRefusal::from).and_then(|start| {
            Programme::new(start, vec![
                Segment::Ramp { to: Celsius::new(to)?, pace: Pace::Rate(KelvinsPerHour::new(rate)?) },
                Segment::hold(minutes)?,
            ])
        });
        if let Ok(programme) = made {
            prop_assert!(programme.total() > Minutes::ZERO);
        }
    }
}
