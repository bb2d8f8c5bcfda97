//! Powder and water, mixes, the clock and the bench set against published and computed values.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::investment::{
    BenchSetRule, BenchSetState, Binder, Bowl, ClockTimes, FlaskToFill, InvestmentRefusal, Powder,
    WaterRatio, WorkingTime, gypsum_bonded, mixes_for_flasks, mixing_clock, phosphate_bonded,
    powder_and_water, powder_density_from_trial, slurry_temperature, slurry_volume,
};
use foundry::quantity::{
    Celsius, CubicMillimetres, Grams, GramsPerCubicCentimetre, Millimetres, Minutes, Share,
};
use foundry::source::Sourced;
use proptest::prelude::*;

fn flask(diameter_in: f64, height_in: f64) -> FlaskToFill {
    FlaskToFill {
        name: "A".into(),
        diameter: Millimetres::from_inches(diameter_in).unwrap(),
        height: Millimetres::from_inches(height_in).unwrap(),
        tree: CubicMillimetres::ZERO,
        channels: CubicMillimetres::ZERO,
        above_rim: Millimetres::ZERO,
    }
}

fn cm3(value: f64) -> CubicMillimetres {
    CubicMillimetres::new(value * 1000.0).unwrap()
}

fn ratio(per_100: f64) -> Option<WaterRatio> {
    Some(WaterRatio::new(per_100, Binder::Gypsum).unwrap())
}

fn minutes(value: f64) -> Minutes {
    Minutes::new(value).unwrap()
}

fn celsius(value: f64) -> Celsius {
    Celsius::new(value).unwrap()
}

#[test]
fn a_full_flask_takes_what_the_table_says() {
    // Computed apart from this code for a true density of 2.5 g/cm³, brim full, nothing subtracted;
    // tolerance 1 g and 1 ml.
    for (diameter, height, volume, at_40, at_38) in [
        (2.0, 2.5, 129.0, (161.0, 64.0), (165.0, 63.0)),
        (2.5, 2.5, 201.0, (251.0, 101.0), (258.0, 98.0)),
        (2.5, 3.0, 241.0, (302.0, 121.0), (309.0, 118.0)),
        (2.5, 4.0, 322.0, (402.0, 161.0), (413.0, 157.0)),
        (3.0, 3.0, 347.0, (434.0, 174.0), (446.0, 169.0)),
        (3.0, 4.0, 463.0, (579.0, 232.0), (594.0, 226.0)),
        (3.5, 3.0, 473.0, (591.0, 236.0), (606.0, 230.0)),
        (3.5, 4.0, 631.0, (788.0, 315.0), (809.0, 307.0)),
        (3.5, 5.0, 788.0, (985.0, 394.0), (1011.0, 384.0)),
        (3.5, 6.0, 946.0, (1182.0, 473.0), (1213.0, 461.0)),
        (4.0, 6.0, 1236.0, (1544.0, 618.0), (1584.0, 602.0)),
        (4.0, 8.0, 1647.0, (2059.0, 824.0), (2112.0, 803.0)),
    ] {
        let slurry = slurry_volume(&flask(diameter, height)).unwrap().value;
        assert!((slurry.cubic_centimetres() - volume).abs() <= 0.51);
        for (per_100, (powder_g, water_ml)) in [(40.0, at_40), (38.0, at_38)] {
            let weighed = powder_and_water(slurry, &gypsum_bonded(), ratio(per_100)).unwrap();
            let (powder, water) = weighed.value;
            assert!((powder.get() - powder_g).abs() <= 1.0, "{diameter} × {height}: {powder:?}");
            assert!((water.get() - water_ml).abs() <= 1.0, "{diameter} × {height}: {water:?}");
        }
    }
}

#[test]
fn slurry_density_follows_from_the_ratio() {
    // Computed apart from this code: (1 + w/100)/(1/ρ + w/100) in g/cm³.
    for (true_density, expected) in [
        (2.4, [1.732, 1.723, 1.714, 1.706, 1.697]),
        (2.5, [1.769, 1.760, 1.750, 1.741, 1.732]),
        (2.6, [1.805, 1.794, 1.784, 1.774, 1.765]),
    ] {
        let mut powder = gypsum_bonded();
        powder.true_density.value = GramsPerCubicCentimetre::new(true_density).unwrap();
        for (per_100, density) in [38.0, 39.0, 40.0, 41.0, 42.0].into_iter().zip(expected) {
            let litres = 100.0;
            let weighed =
                powder_and_water(cm3(litres * 1000.0), &powder, ratio(per_100)).unwrap().value;
            let ours = (weighed.0.get() + weighed.1.get()) / (litres * 1000.0);
            // A trade article on mixing ratios gives 1.6 to 1.8 for all slurries.
            assert!((ours - density).abs() < 1e-3 && (1.6..1.81).contains(&ours), "{ours}");
        }
    }
}

#[test]
fn published_amounts_fill_the_share_of_the_flask_that_was_computed_for_them() {
    // Supplier chart as quoted in Orchid jewellers' forum, thread 46109; share of the full flask
    // computed apart from this code.
    let pound_g = 453.592_37;
    for (diameter, height, powder_g, water_ml, share) in [
        (3.5, 5.0, 2.0 * pound_g, 344.0, 0.90),
        (3.5, 3.0, 1.5 * pound_g, 274.0, 1.15),
        (2.5, 3.0, 0.75 * pound_g, 136.0, 1.13),
    ] {
        let room = slurry_volume(&flask(diameter, height)).unwrap().value.cubic_centimetres();
        let per_100 = water_ml / powder_g * 100.0;
        let weighed =
            powder_and_water(cm3(room * share), &gypsum_bonded(), ratio(per_100)).unwrap().value;
        assert!((weighed.0.get() / powder_g - 1.0).abs() < 0.006, "{diameter} × {height}");
    }
    // “Hot Mix Investment for High Altitude Casting”: grams = 20·D²·H (inches) at 44:100, which
    // holds about 30 % spare.
    let room = slurry_volume(&flask(3.0, 4.0)).unwrap().value.cubic_centimetres();
    let weighed = powder_and_water(cm3(room * 1.305), &gypsum_bonded(), ratio(44.0)).unwrap().value;
    assert!((weighed.0.get() / (20.0 * 9.0 * 4.0) - 1.0).abs() < 0.005);
}

#[test]
fn tree_channels_and_collar_change_the_room() {
    let full = slurry_volume(&flask(3.0, 4.0)).unwrap().value;
    let with_tree = FlaskToFill { tree: cm3(20.0), channels: cm3(5.5), ..flask(3.0, 4.0) };
    let less = slurry_volume(&with_tree).unwrap().value;
    assert!(((full - less).cubic_centimetres() - 25.5).abs() < 1e-9);
    let collar = FlaskToFill { above_rim: Millimetres::new(25.4).unwrap(), ..flask(3.0, 3.0) };
    assert!((slurry_volume(&collar).unwrap().value / full - 1.0).abs() < 1e-12);
    let choked = FlaskToFill { tree: cm3(500.0), ..flask(3.0, 4.0) };
    assert!(matches!(slurry_volume(&choked), Err(InvestmentRefusal::TreeFillsFlask { .. })));
    assert!(matches!(slurry_volume(&flask(0.0, 4.0)), Err(InvestmentRefusal::NoFlask { .. })));
}

#[test]
fn ratios_outside_what_works_are_refused_or_warned_about() {
    assert!(WaterRatio::new(40.0, Binder::Gypsum).is_ok());
    for nonsense in [0.4, 29.9, 50.1, 400.0, f64::NAN, f64::INFINITY, -40.0] {
        assert!(WaterRatio::new(nonsense, Binder::Gypsum).is_err(), "{nonsense}");
    }
    let warnings = |per_100| {
        powder_and_water(cm3(100.0), &gypsum_bonded(), ratio(per_100))
            .unwrap()
            .working
            .warnings
            .len()
    };
    assert_eq!((warnings(40.0), warnings(34.0), warnings(46.0)), (1, 2, 2));
    let no_ratio = powder_and_water(cm3(100.0), &phosphate_bonded(), None);
    assert!(matches!(no_ratio, Err(InvestmentRefusal::NoRatio { .. })));
    let usual = powder_and_water(cm3(140.0), &gypsum_bonded(), None).unwrap().value;
    assert!((usual.1.get() / usual.0.get() - 0.40).abs() < 1e-12);
}

#[test]
fn a_trial_gives_back_the_density_it_was_mixed_with() {
    let trial = powder_density_from_trial(
        Grams::new(1000.0).unwrap(),
        Grams::new(400.0).unwrap(),
        cm3(800.0),
    );
    assert!((trial.unwrap().value.get() - 2.5).abs() < 1e-12);
    let impossible = powder_density_from_trial(
        Grams::new(1000.0).unwrap(),
        Grams::new(400.0).unwrap(),
        cm3(399.0),
    );
    assert!(matches!(impossible, Err(InvestmentRefusal::ImpossibleTrial { .. })));
}

fn bowl(brimful_cm3: f64, flasks: usize) -> Bowl {
    Bowl::usual(cm3(brimful_cm3), flasks)
}

#[test]
fn flasks_are_shared_out_over_mixes_the_bowl_can_take() {
    let three = [flask(3.0, 4.0), flask(2.0, 2.5), flask(3.0, 3.0)];
    // 463 + 129 + 347 cm³ with 5 % allowance is 986: two litres of bowl take it at twice the rise.
    let one = mixes_for_flasks(&three, &gypsum_bonded(), None, &bowl(2000.0, 4)).unwrap().value;
    assert_eq!(one.len(), 1);
    assert!((one[0].slurry.cubic_centimetres() - 986.3).abs() < 0.5);
    let two = mixes_for_flasks(&three, &gypsum_bonded(), None, &bowl(1300.0, 4)).unwrap().value;
    assert_eq!(two.iter().map(|mix| mix.flasks.clone()).collect::<Vec<_>>(), [vec![0, 1], vec![2]]);
    let bell = mixes_for_flasks(&three, &gypsum_bonded(), None, &bowl(9000.0, 1)).unwrap().value;
    assert_eq!(bell.len(), 3);
    let pump = Bowl { pump: Some(cm3(510.0)), ..bowl(9000.0, 4) };
    assert_eq!(mixes_for_flasks(&three, &gypsum_bonded(), None, &pump).unwrap().value.len(), 2);
    let small = mixes_for_flasks(&three, &gypsum_bonded(), None, &bowl(600.0, 4));
    assert!(matches!(small, Err(InvestmentRefusal::TooLargeForBowl { .. })));
    let none = mixes_for_flasks(&[], &gypsum_bonded(), None, &bowl(600.0, 4));
    assert!(matches!(none, Err(InvestmentRefusal::NoFlasks)));
    let flat = Bowl { boil_up: Sourced::entered(0.5), ..bowl(600.0, 4) };
    let refused = mixes_for_flasks(&three, &gypsum_bonded(), None, &flat);
    assert!(matches!(refused, Err(InvestmentRefusal::NoBowl)));
}

#[test]
fn the_clock_agrees_with_the_published_time_line() {
    // “Investment Procedure for Lost Wax Casting”, Ganoksin library: whole procedure 9 to 9.5 min
    // from first contact, bowl under vacuum at about 5 min for 1 to 2 min.
    let clock =
        mixing_clock(&WorkingTime::usual(), celsius(22.0), 1, &ClockTimes::usual()).unwrap().value;
    let vacuum = clock.steps.iter().find(|step| step.name == "vacuum on the bowl").unwrap();
    assert!((vacuum.start.get() - 5.0).abs() <= 0.5, "{vacuum:?}");
    assert!((1.0..=2.0).contains(&(vacuum.end - vacuum.start).get()));
    assert!((9.0..=9.5).contains(&clock.gloss_off.get()));
    // Orchid jewellers' forum, thread 21800: done 1.5 to 2 min before gloss-off.
    let poured = clock.steps.iter().find(|step| step.name == "top up").unwrap();
    assert!((1.5..=2.0).contains(&(clock.gloss_off - poured.end).get()));
    let (first, last) = (clock.steps.first().unwrap(), clock.steps.last().unwrap());
    assert_eq!((first.name, first.end), ("water into the bowl", Minutes::ZERO));
    assert!((last.end - clock.gloss_off).get().abs() < 1e-9);
    for pair in clock.steps.windows(2) {
        assert_eq!(pair[0].end, pair[1].start);
    }
}

#[test]
fn warm_slurry_or_many_flasks_shorten_the_clock_until_it_is_refused() {
    let at = |temperature: f64, flasks| {
        mixing_clock(&WorkingTime::usual(), celsius(temperature), flasks, &ClockTimes::usual())
    };
    let cool = at(20.0, 1).unwrap().value.gloss_off;
    let warm = at(26.0, 1).unwrap().value.gloss_off;
    assert!((cool - warm).get() > 0.0);
    assert!(at(22.0, 2).is_ok());
    assert!(matches!(at(22.0, 6), Err(InvestmentRefusal::TooShortToPour { .. })));
    assert!(matches!(at(45.0, 1), Err(InvestmentRefusal::TooShortToPour { .. })));
    let backward = ClockTimes { bowl_vacuum: minutes(-1.0), ..ClockTimes::usual() };
    let refused = mixing_clock(&WorkingTime::usual(), celsius(22.0), 1, &backward);
    assert!(matches!(refused, Err(InvestmentRefusal::NegativeTime { .. })));
}

#[test]
fn two_trials_give_the_shift_with_temperature() {
    let measured =
        WorkingTime::from_trials((celsius(20.0), minutes(10.0)), (celsius(26.0), minutes(8.2)))
            .unwrap();
    assert!((measured.lost_per_kelvin.value - 0.3).abs() < 1e-12);
    let clock = mixing_clock(&measured, celsius(23.0), 1, &ClockTimes::usual()).unwrap().value;
    assert!((clock.gloss_off.get() - 9.1).abs() < 1e-12);
    let same = ((celsius(20.0), minutes(10.0)), (celsius(20.5), minutes(9.0)));
    assert!(WorkingTime::from_trials(same.0, same.1).is_none());
}

#[test]
fn slurry_is_nearer_to_its_water_than_to_its_powder() {
    // 100 g powder at 25.6 °C (78 °F) and 44 g water at 43.3 °C (110 °F):
    // (20.096·25.6 + 44·43.3)/64.096 = 37.75 °C, by hand.
    let grams = |value| Grams::new(value).unwrap();
    let slurry = slurry_temperature(grams(100.0), celsius(25.6), grams(44.0), celsius(43.3));
    assert!((slurry.unwrap().value.get() - 37.75).abs() < 0.01);
    let nothing = slurry_temperature(grams(0.0), celsius(20.0), grams(0.0), celsius(20.0));
    assert!(matches!(nothing, Err(InvestmentRefusal::NoSlurry)));
}

#[test]
fn bench_set_has_an_earliest_and_a_latest() {
    let rule = BenchSetRule::usual(Binder::Gypsum);
    let state = |since: f64| rule.state(minutes(since)).unwrap();
    // Orchid jewellers' forum, thread 19887: two hours undisturbed.
    assert_eq!(state(30.0), BenchSetState::Setting { wait: minutes(90.0), movable: false });
    assert_eq!(state(60.0), BenchSetState::Setting { wait: minutes(60.0), movable: true });
    assert_eq!(state(120.0), BenchSetState::Ready { left: minutes(22.0 * 60.0) });
    assert_eq!(state(24.0 * 60.0), BenchSetState::Ready { left: Minutes::ZERO });
    assert!(matches!(state(24.0 * 60.0 + 1.0), BenchSetState::Passed { .. }));
    let upside_down = BenchSetRule { latest: Sourced::entered(minutes(60.0)), ..rule };
    assert!(upside_down.state(minutes(10.0)).is_err());
}

fn any_flask() -> impl Strategy<Value = FlaskToFill> {
    (1.0_f64..5.0, 1.0_f64..8.0, 0.0_f64..10.0)
        .prop_map(|(d, h, tree)| FlaskToFill { tree: cm3(tree), ..flask(d, h) })
}

proptest! {
    #[test]
    fn every_flask_is_in_exactly_one_mix_and_no_mix_overflows(
        flasks in prop::collection::vec(any_flask(), 1..12), brimful in 6000.0_f64..20_000.0,
        most in 1_usize..6,
    ) {
        let powder: Powder = gypsum_bonded();
        let bowl = bowl(brimful, most);
        let Ok(worked) = mixes_for_flasks(&flasks, &powder, None, &bowl) else { return Ok(()) };
        let mut seen: Vec<usize> = worked.value.iter().flat_map(|mix| mix.flasks.clone()).collect();
        seen.sort_unstable();
        prop_assert_eq!(seen, (0..flasks.len()).collect::<Vec<_>>());
        let mut slurry = 0.0;
        for mix in &worked.value {
            prop_assert!(mix.flasks.len() <= most);
            prop_assert!(mix.slurry.cubic_centimetres() <= brimful / 2.0 + 1e-6);
            prop_assert!((mix.water.get() - mix.powder.get() * 0.4).abs() < 1e-9);
            slurry += mix.slurry.cubic_centimetres();
        }
        let room: f64 = flasks.iter()
            .map(|flask| slurry_volume(flask).unwrap().value.cubic_centimetres()).sum();
        prop_assert!((slurry - room * (1.0 + Share::from_percent(5.0).unwrap().get())).abs() < 1e-6);
    }
}
