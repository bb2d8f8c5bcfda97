//! Alloying with a scale: worked examples of the trade, and what must hold for any of them.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::metal::{
    Fineness, MetalRefusal, addition_on_scale, bring_to_fineness, mixed, most_for_addition,
};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn parts(per_mille: &str) -> Fineness {
    Fineness::from_per_mille(decimal(per_mille)).unwrap()
}

#[test]
fn an_addition_is_rounded_to_the_finer_side() {
    for (mass, from, to, with, step, add, reached) in [
        // 100 g of 417 to 585 with fine gold is 40.4819 g by arithmetic; 40.49 g on the scale.
        ("100", "417", "585", "1000", "0.01", "40.49", "585.024"),
        ("100", "417", "585", "1000", "0.1", "40.5", "585.053"),
        ("100", "417", "585", "1000", "1", "41", "586.525"),
        // 100 g of fine silver to sterling takes 8.1081 g of copper; 8.10 g keeps it at 925.
        ("100", "1000", "925", "0", "0.01", "8.1", "925.069"),
        ("100", "1000", "925", "0", "1", "8", "925.926"),
        // O. Borahan, Orchid jewellers' forum, thread 27089, whole numbers: 9 dwt of 18 karat
        // to 10 karat with 7.2 dwt; in parts per thousand 750 to 416.667.
        ("9", "750", "375", "0", "0.01", "9", "375"),
    ] {
        let worked = addition_on_scale(
            decimal(mass),
            "g",
            parts(from),
            parts(to),
            parts(with),
            decimal(step),
        )
        .unwrap();
        let weighed = worked.value;
        assert_eq!(weighed.add, decimal(add), "{mass} of {from} to {to}");
        assert_eq!(weighed.reached.per_mille().round_dp(3), decimal(reached), "{mass} {from}");
        assert_eq!(weighed.total, decimal(mass) + decimal(add));
        assert!(worked.working.steps.len() == 4, "each step can be checked");
    }
}

#[test]
fn karats_stay_exact_on_the_scale() {
    // Krohn Industries, raising and reducing karat: 25 dwt of 10 karat to 14 karat with 10 dwt.
    let karat = |karat: i64| Fineness::from_karat(karat.into()).unwrap();
    let weighed =
        addition_on_scale(decimal("25"), "dwt", karat(10), karat(14), karat(24), decimal("0.01"))
            .unwrap()
            .value;
    assert_eq!((weighed.add, weighed.reached), (decimal("10"), karat(14)));
}

#[test]
fn what_is_at_hand_tells_how_much_can_be_brought() {
    // FDJ tool company, “Gold alloying”: 7 g of 10 karat take 2.8 g; so 2.8 g serve 7 g.
    let karat = |karat: i64| Fineness::from_karat(karat.into()).unwrap();
    let step = decimal("0.01");
    let most =
        most_for_addition(decimal("2.8"), "g", karat(10), karat(14), karat(24), step).unwrap();
    assert_eq!(most.value, decimal("7"));
    // With a hundredth less, 6.975 g by arithmetic, so 6.97 g.
    let less =
        most_for_addition(decimal("2.79"), "g", karat(10), karat(14), karat(24), step).unwrap();
    assert_eq!(less.value, decimal("6.97"));
    let never = most_for_addition(decimal("5"), "g", karat(10), karat(14), karat(9), step);
    assert!(matches!(never, Err(MetalRefusal::CannotReach { .. })));
}

#[test]
fn a_scale_without_steps_and_a_melt_of_nothing_are_refused() {
    let none = addition_on_scale(
        Decimal::TEN,
        "g",
        parts("585"),
        parts("750"),
        Fineness::PURE,
        Decimal::ZERO,
    );
    assert!(matches!(none, Err(MetalRefusal::NoMass { .. })));
    assert!(matches!(mixed(&[]), Err(MetalRefusal::NoMass { .. })));
    assert!(matches!(mixed(&[(Decimal::MAX, Fineness::PURE)]), Err(MetalRefusal::TooLarge)));
}

proptest! {
    #[test]
    fn on_the_scale_the_target_is_reached_and_hardly_passed(
        mass in 1_i64..10_000_000, from in 0_i64..=1000, target in 1_i64..1000, with in 0_i64..=1000,
        step in 1_i64..100,
    ) {
        let of = |parts: i64| Fineness::from_per_mille(parts.into()).unwrap();
        let (mass, step) = (Decimal::new(mass, 2), Decimal::new(step, 2));
        let exact = bring_to_fineness(mass, "g", of(from), of(target), of(with));
        let weighed = addition_on_scale(mass, "g", of(from), of(target), of(with), step);
        prop_assert_eq!(exact.is_ok(), weighed.is_ok());
        if let Ok(worked) = weighed {
            let weighed = worked.value;
            prop_assert!(weighed.reached.per_mille() + decimal("0.000000000001") >= Decimal::from(target));
            prop_assert!((weighed.add - weighed.exact.add).abs() < step);
            prop_assert!((weighed.add / step).fract().is_zero());
        }
    }
}
