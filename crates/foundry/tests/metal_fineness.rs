//! Fineness and weights against worked examples of the trade; all exact decimals.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::metal::{
    Composition, Element, Fineness, MarkList, MetalRefusal, Part, Portion, PreciousMetal,
    WeightUnit, bring_to_fineness, convert_weight, mark_for, melt_together, weigh_out,
};
use foundry::quantity::Centigrams;
use proptest::prelude::*;
use rust_decimal::Decimal;

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// `14K` in karats, anything else in parts per thousand.
fn fineness(text: &str) -> Fineness {
    match text.strip_suffix('K') {
        Some(karat) => Fineness::from_karat(decimal(karat)).unwrap(),
        None => Fineness::from_per_mille(decimal(text)).unwrap(),
    }
}

fn addition(mass: &str, from: &str, to: &str, with: &str) -> Decimal {
    bring_to_fineness(decimal(mass), "g", fineness(from), fineness(to), fineness(with))
        .unwrap()
        .value
        .add
}

#[test]
fn worked_examples_that_are_exact_come_out_exactly() {
    for (mass, from, to, with, expected) in [
        ("20", "10K", "14K", "24K", "8"), // O. Borahan, Orchid jewellers' forum, thread 27089
        ("7", "10K", "14K", "24K", "2.8"), // FDJ tool company, “Gold alloying”
        ("25", "10K", "14K", "24K", "10"), // Krohn Industries, raising and reducing karat (dwt)
        ("9", "18K", "10K", "0", "7.2"),  // Orchid thread 27089 (dwt)
        ("25", "14K", "10K", "0", "10"),  // Krohn Industries (dwt)
        ("350", "10K", "14K", "24K", "140"), // Esslinger, karating up and down, 2014: 139.97 by rounded factors (ozt)
        ("500", "14K", "10K", "0", "200"),   // the same: 199.95
        ("10", "625", "925", "1000", "40"),  // Orchid thread 43850
        ("100", "999", "925", "0", "8"),     // arithmetic
    ] {
        assert_eq!(addition(mass, from, to, with), decimal(expected), "{mass} {from} to {to}");
    }
}

#[test]
fn worked_examples_with_rounded_results_agree() {
    for (mass, from, to, with, expected, tolerance) in [
        ("20", "14K", "18K", "24K", "13.333", "0.01"), // Stuller, karat conversions: 13.34 dwt
        ("20", "18K", "14K", "0", "5.714", "0.01"),    // the same: 5.72 dwt
        ("31.1034768", "24K", "18K", "0", "10.3678", "0.0001"), // Orchid thread 38368: 10.36 g
        ("100", "417", "585", "1000", "40.4819", "0.0001"), // arithmetic
        ("100", "417", "585", "999.9", "40.4917", "0.0001"), // arithmetic, with gold of 999.9
        ("100", "1000", "925", "0", "8.1081", "0.0001"), // arithmetic, sterling from pure silver
    ] {
        let difference = (addition(mass, from, to, with) - decimal(expected)).abs();
        assert!(difference <= decimal(tolerance), "{mass} {from} to {to}: off by {difference}");
    }
}

#[test]
fn the_factor_table_of_the_trade_comes_out() {
    // Stuller, karat conversions; the rows from 22 and to 9 karat: Orchid thread 27089 and arithmetic.
    for (from, to, factor) in [
        ("10K", "14K", "0.400"),
        ("10K", "18K", "1.333"),
        ("14K", "18K", "0.667"),
        ("9K", "10K", "0.071"),
        ("9K", "14K", "0.500"),
        ("9K", "18K", "1.500"),
        ("14K", "22K", "4.000"),
        ("18K", "22K", "2.000"),
        ("24K", "18K", "0.333"),
        ("24K", "14K", "0.714"),
        ("24K", "10K", "1.400"),
        ("18K", "14K", "0.286"),
        ("18K", "10K", "0.800"),
        ("14K", "10K", "0.400"),
        ("22K", "18K", "0.222"),
        ("22K", "14K", "0.571"),
        ("22K", "10K", "1.200"),
        ("14K", "9K", "0.556"),
        ("10K", "9K", "0.111"),
    ] {
        let with = if fineness(from) < fineness(to) { "24K" } else { "0" };
        let difference = (addition("1", from, to, with) - decimal(factor)).abs();
        assert!(difference <= decimal("0.0005"), "{from} to {to}");
    }
}

#[test]
fn karats_are_exact_parts_of_twenty_four() {
    assert_eq!(fineness("9K").per_mille(), decimal("375"));
    assert_eq!(fineness("18K").per_mille(), decimal("750"));
    assert_eq!(fineness("21K").per_mille(), decimal("875"));
    assert_eq!(fineness("14K").per_mille().round_dp(3), decimal("583.333"));
    assert_eq!(fineness("10K").per_mille().round_dp(3), decimal("416.667"));
    assert_eq!(fineness("22K").per_mille().round_dp(3), decimal("916.667"));
    assert_eq!(fineness("8K").per_mille().round_dp(3), decimal("333.333"));
    assert_eq!(fineness("14K").karat(), decimal("14"));
    assert!(fineness("14K") < fineness("585"), "14 karat may not be marked 585");
}

#[test]
fn a_mark_is_the_highest_standard_not_above_the_fineness() {
    // The rule and the two gold examples 588 and 584: Tukes, fineness requirements. List: United Kingdom.
    let mark = |metal, parts: &str| mark_for(MarkList::UnitedKingdom, metal, fineness(parts));
    assert_eq!(mark(PreciousMetal::Gold, "588"), Some(585));
    assert_eq!(mark(PreciousMetal::Gold, "584"), Some(375));
    assert_eq!(mark(PreciousMetal::Gold, "750"), Some(750));
    assert_eq!(mark(PreciousMetal::Gold, "749.9"), Some(585));
    assert_eq!(mark(PreciousMetal::Gold, "651"), Some(585));
    assert_eq!(mark(PreciousMetal::Gold, "374.9"), None);
    assert_eq!(mark(PreciousMetal::Gold, "999.9"), Some(999));
    assert_eq!(mark(PreciousMetal::Silver, "924.9"), Some(800));
    assert_eq!(mark(PreciousMetal::Gold, "14K"), Some(375));
}

#[test]
fn a_target_that_cannot_be_reached_is_refused() {
    let bring = |from, to, with| {
        bring_to_fineness(Decimal::TEN, "g", fineness(from), fineness(to), fineness(with))
    };
    assert!(matches!(bring("585", "750", "700"), Err(MetalRefusal::CannotReach { .. })));
    assert!(matches!(bring("585", "750", "750"), Err(MetalRefusal::CannotReach { .. })));
    assert!(matches!(bring("750", "585", "600"), Err(MetalRefusal::CannotReach { .. })));
    assert_eq!(bring("750", "750", "0").unwrap().value.add, Decimal::ZERO);
    let nothing =
        bring_to_fineness(Decimal::ZERO, "g", fineness("585"), fineness("750"), Fineness::PURE);
    assert!(matches!(nothing, Err(MetalRefusal::NoMass { .. })));
    assert!(Fineness::from_per_mille(decimal("1000.1")).is_err());
    assert!(Fineness::from_karat(decimal("24.1")).is_err());
    assert!(Fineness::from_per_mille(decimal("-1")).is_err());
}

fn gold_of(per_mille: i64) -> Composition {
    let part = Part { element: Element::Gold, per_mille: per_mille.into() };
    Composition::with_rest(vec![part], Element::Silver).unwrap()
}

#[test]
fn portions_melted_together_have_the_mean_fineness() {
    let portion = |mass, per_mille| Portion {
        name: "lot".into(),
        mass: Centigrams(mass),
        composition: gold_of(per_mille),
    };
    // 40 g of 750 and 60 g of 585 give 651, by arithmetic.
    let melt = melt_together(&[portion(4000, 750), portion(6000, 585)]).unwrap();
    assert_eq!(melt.value.per_mille(Element::Gold), decimal("651"));
    assert_eq!(melt.working.steps.len(), 2);
    assert!(matches!(melt_together(&[]), Err(MetalRefusal::EmptyComposition)));
    assert!(matches!(melt_together(&[portion(0, 750)]), Err(MetalRefusal::NoMass { .. })));
}

#[test]
fn weights_of_the_trade_are_exact() {
    // National Institute of Standards and Technology, Handbook 44, appendix C (from memory), and
    // the unit definitions of the `pint` package 0.24.4.
    for (unit, grams) in [
        (WeightUnit::Grain, "0.06479891"),
        (WeightUnit::Pennyweight, "1.55517384"),
        (WeightUnit::TroyOunce, "31.1034768"),
        (WeightUnit::TroyPound, "373.2417216"),
        (WeightUnit::Ounce, "28.349523125"),
        (WeightUnit::Pound, "453.59237"),
        (WeightUnit::Carat, "0.2"),
        (WeightUnit::Kilogram, "1000"),
    ] {
        assert_eq!(unit.grams(), decimal(grams), "{}", unit.symbol());
    }
    let convert = |value, from, to| convert_weight(decimal(value), from, to).unwrap();
    assert_eq!(convert("1", WeightUnit::TroyOunce, WeightUnit::Carat), decimal("155.517384"));
    assert_eq!(convert("1", WeightUnit::TroyOunce, WeightUnit::Pennyweight), decimal("20"));
    assert_eq!(
        convert("1", WeightUnit::Ounce, WeightUnit::TroyOunce).round_dp(6),
        decimal("0.911458")
    );
    assert_eq!(
        convert("1", WeightUnit::Kilogram, WeightUnit::TroyOunce).round_dp(7),
        decimal("32.1507466")
    );
    assert!(convert_weight(Decimal::MAX, WeightUnit::Kilogram, WeightUnit::Gram).is_err());
}

proptest! {
    #[test]
    fn adding_what_was_worked_out_reaches_the_target(
        mass in 1_i64..1_000_000, from in 0_i64..1000, target in 1_i64..1000, fine in 0_i64..=1000,
    ) {
        let of = |parts: i64| Fineness::from_per_mille(parts.into()).unwrap();
        let mass = Decimal::new(mass, 2);
        if let Ok(worked) = bring_to_fineness(mass, "g", of(from), of(target), of(fine)) {
            let add = worked.value.add;
            prop_assert!(add >= Decimal::ZERO);
            let reached = (mass * Decimal::from(from) + add * Decimal::from(fine)) / (mass + add);
            prop_assert!((reached - Decimal::from(target)).abs() < decimal("0.000000000001"));
        }
    }

    #[test]
    fn weighed_out_metals_add_up_to_the_alloy(
        mass in 1_i64..100_000_000, first in 0_i64..=10_000, second in 0_i64..=10_000,
    ) {
        prop_assume!(first + second <= 10_000);
        let part = |element, tenths| Part { element, per_mille: Decimal::new(tenths, 1) };
        let composition = Composition::with_rest(
            vec![part(Element::Gold, first), part(Element::Silver, second)],
            Element::Copper,
        ).unwrap();
        let masses = weigh_out(Centigrams(mass), &composition).unwrap().value;
        prop_assert_eq!(masses.iter().map(|(_, grams)| grams.0).sum::<i64>(), mass);
        for (element, counted) in masses {
            let exact = Decimal::from(mass) * composition.per_mille(element) / Decimal::from(1000);
            prop_assert!((Decimal::from(counted.0) - exact).abs() < Decimal::ONE);
        }
    }
}
