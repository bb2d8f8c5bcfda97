//! From patterns and volumes to metal, and the charge, against worked examples.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::metal::{
    Alloy, Button, ChargeInput, Density, MetalOnTree, MetalRefusal, alloy_by_key, balance, charge,
    metal_mass_from_pattern, metal_mass_from_volume, pattern_materials, pattern_to_metal_ratio,
    typical_melt_loss,
};
use foundry::quantity::{Centigrams, CubicMillimetres, Grams, GramsPerCubicCentimetre, Share};
use foundry::source::{Source, Sourced};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn density(value: f64) -> Density {
    Density {
        value: GramsPerCubicCentimetre::new(value).unwrap(),
        tolerance: Share::NONE,
        source: Source::Entered,
    }
}

fn grams(value: f64) -> Grams {
    Grams::new(value).unwrap()
}

fn share(percent: f64) -> Share {
    Share::from_percent(percent).unwrap()
}

#[test]
fn a_flat_band_weighs_what_its_closed_form_says() {
    // Bore 17.3, 1.5 thick, 4 wide: π·(10.15² − 8.65²)·4 = 354.3717 mm³.
    let volume = std::f64::consts::PI * (10.15_f64.powi(2) - 8.65_f64.powi(2)) * 4.0;
    for (per_cm3, expected) in
        [(10.36, 3.6713), (15.58, 5.5211), (8.36, 2.9625), (20.7, 7.3355), (0.95, 0.3367)]
    {
        let volume = CubicMillimetres::new(volume).unwrap();
        let worked = metal_mass_from_volume(volume, &density(per_cm3), None).unwrap();
        assert!((worked.value.get() - expected).abs() < 1e-4, "{per_cm3}");
    }
}

#[test]
fn pattern_factors_follow_from_the_two_densities() {
    // Quotients of the densities, two decimals, for wax of 0.93, 0.95, 0.97, 1.00 and resin of 1.10, 1.15, 1.20.
    let patterns = [0.93, 0.95, 0.97, 1.00, 1.10, 1.15, 1.20];
    for (metal, expected) in [
        (8.36, [8.99, 8.80, 8.62, 8.36, 7.60, 7.27, 6.97]),
        (10.36, [11.14, 10.91, 10.68, 10.36, 9.42, 9.01, 8.63]),
        (11.57, [12.44, 12.18, 11.93, 11.57, 10.52, 10.06, 9.64]),
        (13.07, [14.05, 13.76, 13.47, 13.07, 11.88, 11.37, 10.89]),
        (15.58, [16.75, 16.40, 16.06, 15.58, 14.16, 13.55, 12.98]),
        (17.9, [19.25, 18.84, 18.45, 17.90, 16.27, 15.57, 14.92]),
        (20.7, [22.26, 21.79, 21.34, 20.70, 18.82, 18.00, 17.25]),
    ] {
        for (pattern, factor) in patterns.into_iter().zip(expected) {
            let ratio = pattern_to_metal_ratio(&density(metal), &density(pattern)).unwrap();
            assert!((ratio - factor).abs() <= 0.005 + 1e-9, "{metal} on {pattern}: {ratio}");
        }
    }
}

#[test]
fn published_pattern_examples_come_out() {
    for (pattern_g, metal, expected, tolerance) in [
        (5.5, 13.5, 74.25, 1e-9),   // Romanoff, wax factors
        (5.5, 13.07, 71.89, 0.006), // Rio Grande, wax taken as 1
        (5.5, 10.5, 57.75, 1e-9),   // Romanoff, wax taken as 1
        (5.5, 15.20, 83.60, 1e-9),  // the same
        (0.7, 21.45, 15.02, 0.006), // Au Enterprises, in pennyweights
    ] {
        let worked =
            metal_mass_from_pattern(grams(pattern_g), &density(1.0), &density(metal), None)
                .unwrap();
        assert!((worked.value.get() - expected).abs() <= tolerance);
    }
}

#[test]
fn a_casting_is_lighter_than_its_mould_by_three_times_its_contraction() {
    // 1.5 % linear is 4.43 % of the mass: 1 − 0.985³.
    let contraction = Some((share(1.5), Source::CommonPractice));
    let worked =
        metal_mass_from_pattern(grams(100.0), &density(1.0), &density(1.0), contraction).unwrap();
    assert!((100.0 - worked.value.get() - 4.43).abs() < 0.005);
}

#[test]
fn resin_is_fifteen_to_twenty_five_per_cent_denser_than_wax() {
    let resin = &pattern_materials()[0].density;
    let wax = density(0.95);
    let off = pattern_to_metal_ratio(resin, &wax).unwrap();
    assert!((1.15..=1.25).contains(&off), "{off}");
}

#[test]
fn a_density_of_zero_is_refused() {
    let volume = CubicMillimetres::new(10.0).unwrap();
    assert!(matches!(
        metal_mass_from_volume(volume, &density(0.0), None),
        Err(MetalRefusal::NoDensity { .. })
    ));
    assert!(pattern_to_metal_ratio(&density(10.0), &density(0.0)).is_err());
}

fn sterling() -> &'static Alloy {
    alloy_by_key("sterling-silver").unwrap()
}

fn parts(pieces: f64, tree: f64) -> MetalOnTree {
    MetalOnTree::Parts { pieces: grams(pieces), tree: grams(tree) }
}

fn input(loss_percent: f64) -> ChargeInput<'static> {
    ChargeInput {
        alloy: sterling(),
        tree: parts(18.60, 9.40),
        button: Button::Mass(grams(7.0)),
        loss: Sourced::entered(share(loss_percent)),
        least_fresh: share(50.0),
        returns_at_hand: None,
    }
}

#[test]
fn the_charge_divides_by_what_is_left_and_rounds_up() {
    // By arithmetic: 35.00/0.99 = 35.3535, up to 35.36; half of it fresh.
    let worked = charge(&input(1.0)).unwrap().value;
    assert_eq!(worked.total, Centigrams(3536));
    assert_eq!((worked.fresh, worked.returns), (Centigrams(1768), Centigrams(1768)));
    assert_eq!(charge(&input(10.0)).unwrap().value.total, Centigrams(3889));
    assert_eq!(charge(&input(0.0)).unwrap().value.total, Centigrams(3500));
    assert!(matches!(charge(&input(50.0)), Err(MetalRefusal::LossTooGreat { .. })));
}

#[test]
fn returns_at_hand_limit_what_is_melted_again() {
    let few = ChargeInput { returns_at_hand: Some(Centigrams(500)), ..input(1.0) };
    let worked = charge(&few).unwrap().value;
    assert_eq!((worked.fresh, worked.returns), (Centigrams(3036), Centigrams(500)));
    let odd = ChargeInput { tree: parts(18.61, 9.40), ..input(0.0) };
    let worked = charge(&odd).unwrap().value;
    assert_eq!((worked.fresh, worked.returns), (Centigrams(1751), Centigrams(1750)));
}

#[test]
fn a_weighed_tree_is_turned_into_metal() {
    let weighed = MetalOnTree::Weighed {
        with_base: grams(112.4),
        base: grams(98.0),
        pattern_density: density(1.15),
    };
    let tree =
        ChargeInput { tree: weighed, button: Button::ShareOfTree(share(20.0)), ..input(0.0) };
    let worked = charge(&tree).unwrap();
    // 14.4 g of resin × 10.36/1.15 = 129.7252 g; and a fifth for the button.
    assert!((worked.value.on_tree.get() - 129.7252).abs() < 1e-4);
    assert_eq!(worked.value.total, Centigrams(15_568));
    assert!(worked.working.steps.len() >= 5);
    let light = MetalOnTree::Weighed {
        with_base: grams(98.0),
        base: grams(98.0),
        pattern_density: density(1.15),
    };
    let refused = charge(&ChargeInput { tree: light, ..input(1.0) });
    assert!(matches!(refused, Err(MetalRefusal::TreeLighterThanBase { .. })));
}

#[test]
fn a_pour_is_balanced_to_the_centigram() {
    // By arithmetic: poured 120.00, pieces 78.40, returns 40.85: 0.75 g lost, 0.625 %.
    let worked = balance(Centigrams(12_000), Centigrams(7840), Centigrams(4085)).unwrap();
    assert_eq!(worked.value.lost, Centigrams(75));
    assert_eq!(worked.value.lost_share, Decimal::new(625, 5));
    assert!(worked.working.warnings.is_empty());
    let gained = balance(Centigrams(100), Centigrams(80), Centigrams(30)).unwrap();
    assert_eq!(gained.value.lost, Centigrams(-10));
    assert_eq!(gained.working.warnings.len(), 1);
    assert!(balance(Centigrams(0), Centigrams(0), Centigrams(0)).is_err());
    assert!(balance(Centigrams(1), Centigrams(i64::MAX), Centigrams(1)).is_err());
}

#[test]
fn typical_losses_are_ranges_below_one_in_ten() {
    for family in foundry::metal::Family::ALL {
        let range = typical_melt_loss(family).value;
        assert!(range.least < range.greatest && range.greatest < share(10.0));
    }
}

proptest! {
    #[test]
    fn a_charge_always_suffices_and_is_never_a_centigram_too_much(
        pieces in 0.01_f64..5000.0, tree in 0.0_f64..5000.0, button in 0.0_f64..500.0,
        loss in 0.0_f64..20.0, fresh in 0.0_f64..100.0, at_hand in 0_i64..1_000_000,
    ) {
        let input = ChargeInput {
            alloy: sterling(),
            tree: parts(pieces, tree),
            button: Button::Mass(grams(button)),
            loss: Sourced::entered(share(loss)),
            least_fresh: share(fresh),
            returns_at_hand: Some(Centigrams(at_hand)),
        };
        let charge = charge(&input).unwrap().value;
        let left = charge.total.0 as f64 * (1.0 - loss / 100.0);
        let needed = (pieces + tree + button) * 100.0;
        prop_assert!(left >= needed - 1e-5);
        prop_assert!((charge.total.0 - 1) as f64 * (1.0 - loss / 100.0) < needed + 1e-5);
        prop_assert_eq!(charge.fresh.0 + charge.returns.0, charge.total.0);
        prop_assert!(charge.returns.0 <= at_hand);
        prop_assert!(charge.fresh.0 as f64 >= charge.total.0 as f64 * fresh / 100.0 - 1e-5);
    }
}
