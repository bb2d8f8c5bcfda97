//! Yields against published tables, textbook examples and an outside program.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::quantity::Share;
use foundry::yields::{
    Confidence, ControlLimits, GroupValue, LimitFit, LimitSeen, Lot, Outcome, Tally, Verdict,
    YieldRefusal, chance_of_enough, compare, fisher_exact, fit_limit, group_mean,
    individuals_chart, p_chart, pareto, pieces_for_trial, power_of_trial, smallest_trial, wilson,
};
use proptest::prelude::*;

fn tally(good: u32, bad: u32) -> Tally {
    Tally { good, bad }
}

fn share(percent: f64) -> Share {
    Share::from_percent(percent).unwrap()
}

fn interval(good: u32, total: u32, confidence: Confidence) -> (f64, f64) {
    let value = wilson(tally(good, total - good), confidence).unwrap().value;
    (value.low.get(), value.high.get())
}

#[test]
fn wilson_agrees_with_newcombe() {
    // R. G. Newcombe, Statistics in Medicine 17 (1998) 857, Table I, method 3, four decimals.
    for (good, total, low, high) in [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ] {
        let ours = interval(good, total, Confidence::NinetyFive);
        assert!((ours.0 - low).abs() <= 5.1e-5 && (ours.1 - high).abs() <= 5.1e-5, "{ours:?}");
    }
}

#[test]
fn wilson_agrees_with_an_outside_program() {
    // SciPy 1.17.1, scipy.stats.binomtest(k, n).proportion_ci(method="wilson"); 1e-6.
    for (good, total, low, high) in [
        (81, 263, 0.255289, 0.366210),
        (15, 148, 0.062386, 0.160487),
        (0, 20, 0.0, 0.161125),
        (1, 29, 0.006113, 0.171755),
        (0, 10, 0.0, 0.277533),
        (10, 10, 0.722467, 1.0),
        (5, 10, 0.236593, 0.763407),
        (9, 10, 0.595850, 0.982124),
        (18, 20, 0.698966, 0.972134),
        (19, 20, 0.763869, 0.991119),
        (27, 30, 0.743789, 0.965400),
        (95, 100, 0.888250, 0.978456),
        (3, 3, 0.438503, 1.0),
        (2, 3, 0.207660, 0.938508),
        (0, 3, 0.0, 0.561497),
        (1, 1, 0.206549, 1.0),
        (26, 200, 0.090282, 0.183664),
        (4, 20, 0.080658, 0.416017),
    ] {
        let ours = interval(good, total, Confidence::NinetyFive);
        assert!((ours.0 - low).abs() < 1e-6 && (ours.1 - high).abs() < 1e-6, "{good}/{total}");
    }
    let ninety = interval(4, 20, Confidence::Ninety);
    assert!((ninety.0 - 0.093118).abs() < 1e-6 && (ninety.1 - 0.378377).abs() < 1e-6);
    assert!(matches!(wilson(tally(0, 0), Confidence::Ninety), Err(YieldRefusal::NoPieces)));
}

#[test]
fn fisher_agrees_with_its_inventor() {
    // R. A. Fisher, The Design of Experiments, 1935, ch. II: one in seventy.
    let tea = fisher_exact(tally(4, 0), tally(0, 4)).unwrap();
    assert!((tea.greater - 1.0 / 70.0).abs() < 1e-12);
    assert!((tea.two_sided - 2.0 / 70.0).abs() < 1e-12);
}

#[test]
fn fisher_agrees_with_an_outside_program() {
    // SciPy 1.17.1, scipy.stats.fisher_exact; 1e-9. The second row also stands in course texts.
    for (first, second, greater, two_sided) in [
        (tally(4, 0), tally(0, 4), 0.014_285_714_3, 0.028_571_428_6),
        (tally(3, 1), tally(1, 3), 0.242_857_142_9, 0.485_714_285_7),
        (tally(8, 2), tally(1, 5), 0.024_475_524_5, 0.034_965_035_0),
        (tally(1, 9), tally(11, 3), 0.999_966_348_1, 0.002_759_456_2),
        (tally(18, 2), tally(12, 8), 0.032_416_580_8, 0.064_833_161_6),
        (tally(9, 1), tally(4, 6), 0.028_637_770_9, 0.057_275_541_8),
        (tally(10, 0), tally(7, 3), 0.105_263_157_9, 0.210_526_315_8),
        (tally(3, 0), tally(1, 2), 0.2, 0.4),
        (tally(3, 0), tally(0, 3), 0.05, 0.1),
        (tally(27, 3), tally(20, 10), 0.028_733_136_67, 0.057_466_273_33),
        (tally(500, 20), tally(480, 40), 0.005_475_828_286, 0.010_951_656_572),
        (tally(0, 5), tally(0, 7), 1.0, 1.0),
    ] {
        let ours = fisher_exact(first, second).unwrap();
        assert!((ours.greater - greater).abs() < 1e-9, "{first:?} {second:?}: {ours:?}");
        assert!((ours.two_sided - two_sided).abs() < 1e-9, "{first:?} {second:?}: {ours:?}");
    }
    let less = fisher_exact(tally(1, 9), tally(11, 3)).unwrap().less;
    assert!((less - 0.001_379_728_1).abs() < 1e-9);
    assert!(matches!(fisher_exact(tally(0, 0), tally(1, 1)), Err(YieldRefusal::NoPieces)));
    let many = fisher_exact(tally(u32::MAX, 0), tally(1, 1));
    assert!(matches!(many, Err(YieldRefusal::TooMany { .. })));
}

#[test]
fn three_pieces_against_three_show_nothing() {
    assert_eq!(smallest_trial(Confidence::NinetyFive), 4);
    let verdict =
        |first, second| compare(first, second, Confidence::NinetyFive).unwrap().value.verdict;
    assert_eq!(verdict(tally(3, 0), tally(0, 3)), Verdict::TooFew { at_least_each: 4 });
    assert_eq!(verdict(tally(4, 0), tally(0, 4)), Verdict::FirstBetter);
    assert_eq!(verdict(tally(0, 4), tally(4, 0)), Verdict::SecondBetter);
    assert_eq!(verdict(tally(18, 2), tally(12, 8)), Verdict::NotShown);
}

#[test]
fn power_agrees_with_an_outside_program() {
    // SciPy 1.17.1: sum of binom.pmf products over all tables with fisher_exact below 0.05.
    for (each, first, second, power) in [
        (4, 95.0, 5.0, 0.663_420_43),
        (10, 90.0, 50.0, 0.295_055_05),
        (20, 90.0, 60.0, 0.492_032_96),
        (30, 95.0, 70.0, 0.631_312_97),
        (20, 80.0, 80.0, 0.022_585_26),
    ] {
        let ours = power_of_trial(each, share(first), share(second), Confidence::NinetyFive);
        assert!((ours.unwrap().get() - power).abs() < 1e-7, "{each}");
    }
    for (first, second, each, power) in [
        (90.0, 50.0, 23, 0.811_422_29),
        (95.0, 60.0, 24, 0.821_243_88),
        (99.0, 20.0, 7, 0.832_516_39),
    ] {
        let size =
            pieces_for_trial(share(first), share(second), Confidence::NinetyFive, share(80.0));
        let size = size.unwrap().value;
        assert_eq!(size.each, each);
        assert!((size.power.get() - power).abs() < 1e-7);
    }
    let same = pieces_for_trial(share(90.0), share(90.0), Confidence::NinetyFive, share(80.0));
    assert!(matches!(same, Err(YieldRefusal::SameYields)));
    let close = pieces_for_trial(share(90.0), share(89.0), Confidence::NinetyFive, share(80.0));
    assert!(matches!(close, Err(YieldRefusal::TooSmallADifference { .. })));
}

#[test]
fn the_published_control_chart_comes_out() {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2: thirty wafers of 50 chips (counts
    // from memory); mean 0.2313, limits 0.0524 and 0.4102.
    let wafers = [
        12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9,
        12, 7, 13, 9, 6,
    ];
    let lots = wafers.map(|bad| Lot { made: 50, bad });
    let chart = p_chart(&lots, ControlLimits::Binomial).unwrap();
    assert!((chart.value.mean.get() - 0.2313).abs() < 5e-5);
    for point in &chart.value.points {
        assert!((point.lower.get() - 0.0524).abs() < 5e-5);
        assert!((point.upper.get() - 0.4102).abs() < 5e-5);
    }
    let outside: Vec<usize> =
        (0..30).filter(|&at| chart.value.points[at].outside).map(|at| at + 1).collect();
    assert_eq!(outside, [15, 23], "the wafers with 22 and 24 bad chips");
    assert!(chart.working.warnings.is_empty());
    // Scatter from lot to lot computed apart from this code: 1.660 times that of chance.
    let wide = p_chart(&lots, ControlLimits::Laney).unwrap().value;
    assert!((wide.scatter - LANEY_SCATTER).abs() < 1e-6, "{}", wide.scatter);
    assert!(wide.points.iter().all(|point| !point.outside));
}

/// Python: mean |z[i] − z[i−1]| over 2/√π for the counts above.
const LANEY_SCATTER: f64 = 1.660_308_62;

#[test]
fn charts_of_nothing_are_refused() {
    let lot = |made, bad| Lot { made, bad };
    let few = p_chart(&[lot(5, 1); 4], ControlLimits::Binomial);
    assert!(matches!(few, Err(YieldRefusal::TooFewLots { .. })));
    let empty = p_chart(&[lot(0, 0); 6], ControlLimits::Binomial);
    assert!(matches!(empty, Err(YieldRefusal::NoPieces)));
    let turned = p_chart(&[lot(1, 5); 6], ControlLimits::Binomial);
    assert!(matches!(turned, Err(YieldRefusal::MoreBadThanMade { lot: 1, .. })));
    for limits in [ControlLimits::Binomial, ControlLimits::Laney] {
        let perfect = p_chart(&[lot(5, 0); 6], limits).unwrap().value;
        assert!(perfect.points.iter().all(|point| !point.outside));
        let hopeless = p_chart(&[lot(5, 5); 6], limits).unwrap().value;
        assert!(hopeless.points.iter().all(|point| !point.outside));
    }
}

#[test]
fn causes_are_ranked_and_add_up() {
    let causes = [
        ("fins".into(), 3),
        ("incomplete fill".into(), 12),
        ("nodules".into(), 0),
        ("shrinkage porosity".into(), 20),
        ("ash".into(), 3),
        ("gas porosity".into(), 2),
    ];
    let rows = pareto(&causes).unwrap().value;
    let names: Vec<&str> = rows.iter().map(|row| row.cause.as_ref()).collect();
    assert_eq!(names, ["shrinkage porosity", "incomplete fill", "ash", "fins", "gas porosity"]);
    assert_eq!(rows[1].cumulative, share(80.0));
    assert_eq!(rows.iter().filter(|row| row.among_the_vital_few).count(), 2);
    assert_eq!(rows[4].cumulative, Share::ALL);
    assert!(matches!(pareto(&[("ash".into(), 0)]), Err(YieldRefusal::NoPieces)));
}

proptest! {
    #[test]
    fn intervals_hold_the_yield_and_narrow_with_more_pieces(good in 0_u32..500, bad in 0_u32..500) {
        prop_assume!(good + bad > 0);
        let value = |times: u32| {
            wilson(tally(good * times, bad * times), Confidence::NinetyFive).unwrap().value
        };
        let (once, tenfold) = (value(1), value(10));
        prop_assert!(once.low <= once.counted && once.counted <= once.high);
        prop_assert!(tenfold.high.get() - tenfold.low.get() <= once.high.get() - once.low.get());
        let (mirror_low, mirror_high) = interval(bad, good + bad, Confidence::NinetyFive);
        prop_assert!((once.low.get() - (1.0 - mirror_high)).abs() < 1e-12);
        prop_assert!((once.high.get() - (1.0 - mirror_low)).abs() < 1e-12);
        let surer = wilson(tally(good, bad), Confidence::NinetyNine).unwrap().value;
        prop_assert!(surer.low <= once.low && surer.high >= once.high);
    }

    #[test]
    fn fisher_does_not_care_for_order_and_its_sides_overlap_in_one_table(
        a in 0_u32..60, b in 0_u32..60, c in 0_u32..60, d in 0_u32..60,
    ) {
        prop_assume!(a + b > 0 && c + d > 0);
        let one = fisher_exact(tally(a, b), tally(c, d)).unwrap();
        let other = fisher_exact(tally(c, d), tally(a, b)).unwrap();
        let flipped = fisher_exact(tally(b, a), tally(d, c)).unwrap();
        prop_assert!((one.two_sided - other.two_sided).abs() < 1e-9);
        prop_assert!((one.greater - other.less).abs() < 1e-9);
        prop_assert!((one.two_sided - flipped.two_sided).abs() < 1e-9);
        prop_assert!(one.greater + one.less >= 1.0 - 1e-9);
        prop_assert!(one.two_sided <= 1.0 && one.two_sided >= one.greater.min(one.less) - 1e-9);
    }
}

#[test]
fn limits_of_single_values_agree_with_the_handbook() {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rates of ten batches;
    // mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041 with 1.128 for 2/√π.
    let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let chart = individuals_chart(&flow, "").unwrap().value;
    assert!((chart.mean - 50.81).abs() < 1e-9);
    assert!((chart.mean_range - 1.8778).abs() < 5e-5);
    assert!((chart.lower - 45.8159).abs() < 2e-3 && (chart.upper - 55.8041).abs() < 2e-3);
    assert!(chart.outside.iter().all(|outside| !outside), "none of them lies outside");
    let mut jump = flow.to_vec();
    jump.extend([52.0, 51.5, 52.2, 51.9, 52.4, 51.8, 52.1, 90.0]);
    let chart = individuals_chart(&jump, "").unwrap().value;
    assert_eq!(chart.outside.iter().filter(|outside| **outside).count(), 1);
    assert!(chart.outside[17]);
    assert!(matches!(
        individuals_chart(&flow[..4], ""),
        Err(YieldRefusal::TooFewLots { lots: 4, least: 5 })
    ));
    let broken = [1.0, 2.0, f64::NAN, 3.0, 4.0];
    assert!(matches!(individuals_chart(&broken, ""), Err(YieldRefusal::NotFinite { at: 3 })));
}

/// Values of groups, all of one kind.
fn one_kind(groups: &[[f64; 5]]) -> Vec<GroupValue> {
    let each = groups.iter().enumerate();
    each.flat_map(|(group, values)| values.map(|value| GroupValue { value, group, kind: 0 }))
        .collect()
}

/// NIST Statistical Reference Datasets, analysis of variance, SiRstv: resistivity of silicon by
/// five instruments, ohm·cm.
const RESISTIVITY: [[f64; 5]; 5] = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
];

#[test]
fn limits_of_a_groups_mean_agree_with_certified_values() {
    // Certified there: residual standard deviation 1.04076068334656E-01 of 20 degrees of freedom.
    // The limits of analysis of means follow from it: ± 3·s·√((25 − 5)/(25·5)).
    let reach = 3.0 * 1.040_760_683_346_56E-01 * (20.0_f64 / 125.0).sqrt();
    let values = one_kind(&RESISTIVITY);
    for (group, mean) in
        [196.243_08, 196.244_30, 196.167_02, 196.148_14, 196.143_24].iter().enumerate()
    {
        let found = group_mean(&values, group, "").unwrap().value;
        assert!((found.mean - mean).abs() < 1e-9 && (found.expected - 196.189_156).abs() < 1e-9);
        assert!((found.upper - found.expected - reach).abs() < 1e-9, "{found:?}");
        assert!((found.expected - found.lower - reach).abs() < 1e-9);
        assert!(!found.outside(), "no instrument differs, as the certified F of 1.18 says");
    }
    let mut moved = RESISTIVITY;
    moved[4] = moved[4].map(|value| value + 0.5);
    let values = one_kind(&moved);
    assert!(group_mean(&values, 4, "").unwrap().value.outside());
    assert!(!group_mean(&values, 2, "").unwrap().value.outside());
}

#[test]
fn what_is_difficult_for_everybody_is_laid_to_nobody() {
    // By hand: means within 1.1, 1.4, 4.2, 4.2 with squares of 0.14 together, s² = 0.14/6; the
    // kinds have means of 1.22 and 4.2, so (3 × 1.22 + 2 × 4.2)/5 = 2.412 is expected, and
    // 3·√(0.14/6)·√(3·(1 − 3/5) + 2·(1 − 2/5))/5 = 0.141986.
    let of = |group, kind, values: &[f64]| -> Vec<GroupValue> {
        values.iter().map(|value| GroupValue { value: *value, group, kind }).collect()
    };
    let mut values = of(0, 1, &[1.0, 1.2, 1.1]);
    values.extend(of(1, 1, &[1.3, 1.5]));
    values.extend(of(0, 2, &[4.0, 4.4]));
    values.extend(of(1, 2, &[4.1, 4.3, 4.2]));
    let found = group_mean(&values, 0, "").unwrap().value;
    assert!((found.mean - 2.34).abs() < 1e-12 && (found.expected - 2.412).abs() < 1e-12);
    assert!((found.upper - 2.412 - 0.141_985_9).abs() < 1e-6, "{found:?}");
    // What nobody else has of the same kind takes no part, however much it is.
    values.extend(of(0, 3, &[99.0; 9]));
    assert_eq!(group_mean(&values, 0, "").unwrap().value, found);
    // A kind that is dearer for everybody moves what is expected, not the distance from it.
    for each in values.iter_mut().filter(|each| each.kind == 2) {
        each.value += 10.0;
    }
    let dearer = group_mean(&values, 0, "").unwrap().value;
    let distance =
        |of: &foundry::yields::GroupMean| (of.mean - of.expected, of.upper - of.expected);
    let ((one, reach), (other, same)) = (distance(&found), distance(&dearer));
    assert!((one - other).abs() < 1e-9 && (reach - same).abs() < 1e-9);
}

#[test]
fn of_too_few_no_group_is_said_to_differ() {
    let values = one_kind(&RESISTIVITY[..2]);
    assert!(group_mean(&values, 0, "").is_ok());
    let alone = one_kind(&RESISTIVITY[..1]);
    let refused = |values: &[GroupValue]| group_mean(values, 0, "").unwrap_err();
    assert_eq!(refused(&alone), YieldRefusal::TooFewAlike { own: 0, others: 0 });
    assert_eq!(refused(&values[1..]), YieldRefusal::TooFewAlike { own: 4, others: 5 });
    assert_eq!(refused(&values[..9]), YieldRefusal::TooFewAlike { own: 5, others: 4 });
    // One of each of five kinds for either: nothing repeats, so no scatter is known.
    let apart = (0..10).map(|n| GroupValue { value: n as f64, group: n / 5, kind: n % 5 });
    let apart: Vec<GroupValue> = apart.collect();
    assert_eq!(refused(&apart), YieldRefusal::TooFewRepeated { repeated: 0, least: 4 });
    let mut broken = values;
    broken[2].value = f64::INFINITY;
    assert_eq!(refused(&broken), YieldRefusal::NotFinite { at: 3 });
}

#[test]
fn the_chance_of_enough_agrees_with_exact_fractions() {
    // The binomial sum in exact fractions (Python 3 `fractions` and `math.comb`).
    for (needed, made, share, chance) in [
        (10, 10, 0.9, 0.3486784401),
        (10, 11, 0.9, 0.6973568802),
        (10, 12, 0.9, 0.889130022255),
        (1, 2, 0.5, 0.75),
        (50, 60, 0.85, 0.716285031828398),
        (100, 120, 0.9, 0.992058807751603),
        (3, 3, 0.95, 0.857375),
        (500, 560, 0.92, 0.9906646097116637),
    ] {
        let ours = chance_of_enough(needed, made, share).unwrap().value;
        assert!((ours - chance).abs() < 1e-10, "{needed} of {made}: {ours}");
    }
    assert_eq!(chance_of_enough(3, 2, 0.9).unwrap().value, 0.0);
    assert_eq!(chance_of_enough(3, 3, 1.0).unwrap().value, 1.0);
    assert_eq!(chance_of_enough(1, 3, 0.0).unwrap().value, 0.0);
    assert!(chance_of_enough(1, 2001, 0.9).is_err() && chance_of_enough(1, 2, 1.1).is_err());
}

/// The flights of S. R. Dalal, E. B. Fowlkes and B. Hoadley, J. Am. Stat. Assoc. 84 (1989) 945,
/// Table 1: temperature of the joint in °F, and whether none suffered. The colder the worse.
fn flights() -> Vec<Outcome> {
    const SUFFERED: [f64; 7] = [53.0, 57.0, 58.0, 63.0, 70.0, 70.0, 75.0];
    const SOUND: [f64; 16] = [
        66.0, 67.0, 67.0, 67.0, 68.0, 69.0, 70.0, 70.0, 72.0, 73.0, 75.0, 76.0, 76.0, 78.0, 79.0,
        81.0,
    ];
    let of = |good| move |at: &f64| Outcome { margin: 100.0 - at, good };
    SUFFERED.iter().map(of(false)).chain(SOUND.iter().map(of(true))).collect()
}

fn fitted(outcomes: &[Outcome]) -> LimitFit {
    match fit_limit(outcomes, Confidence::NinetyFive).unwrap().value {
        LimitSeen::Fitted(fit) => fit,
        apart => panic!("{apart:?}"),
    }
}

#[test]
fn the_limit_of_a_published_logistic_regression_comes_out() {
    let fit = fitted(&flights());
    // The regression of the paper, of suffering against temperature: 15.0429 and −0.2322.
    assert!((-(fit.intercept + 100.0 * fit.slope) - 15.0429).abs() < 5e-5, "{fit:?}");
    assert!((fit.slope + 0.2322).abs() < 5e-5, "{fit:?}");
    // tests/outside/limit_scipy.py: statsmodels 0.15.0, SciPy 1.17.1.
    assert!((fit.intercept - 8.173_373).abs() < 1e-6 && (fit.slope + 0.232_163).abs() < 1e-6);
    for (limit, at, low, high) in [
        (fit.nine_of_ten, 25.74120, 6.5839, 31.1121),
        (fit.half, 35.20536, 30.7301, 47.5127),
        (fit.one_of_ten, 44.66952, 36.9121, 81.6405),
    ] {
        assert!((limit.at - at).abs() < 1e-5, "{limit:?}");
        assert!((limit.low - low).abs() < 2e-4 && (limit.high - high).abs() < 2e-4, "{limit:?}");
    }
    // At 31 °F, the day of the paper: 1 ÷ (1 + e^−(15.0429 − 0.2322 · 31)) = 0.9996 suffer.
    assert!((1.0 - fit.chance(69.0) - 0.9996).abs() < 5e-5);
}

#[test]
fn too_few_castings_and_margins_that_tell_nothing_give_no_limit() {
    let cast = |margin: f64, good| Outcome { margin, good };
    let few: Vec<_> = flights().into_iter().take(19).collect();
    assert!(matches!(
        fit_limit(&few, Confidence::NinetyFive),
        Err(YieldRefusal::TooFewForALimit { good: 12, bad: 7 })
    ));
    let one_kind: Vec<_> = (0..40).map(|n| cast(f64::from(n), n != 3)).collect();
    assert!(matches!(
        fit_limit(&one_kind, Confidence::NinetyFive),
        Err(YieldRefusal::TooFewForALimit { good: 39, bad: 1 })
    ));
    // Good and failed in turn, the failed ones the easier, and all as hard as each other.
    let turns = (0..40).map(|n| cast(f64::from(n), n % 2 == 0));
    let contrary = (0..40).map(|n| cast(f64::from(n), n > 20));
    let same = (0..40).map(|n| cast(2.0, n % 2 == 0));
    for outcomes in [turns.collect::<Vec<_>>(), contrary.collect(), same.collect()] {
        let refused = fit_limit(&outcomes, Confidence::NinetyFive);
        assert!(matches!(refused, Err(YieldRefusal::MarginTellsNothing)), "{refused:?}");
    }
    let odd: Vec<_> = (0..40).map(|n| cast(if n == 7 { f64::NAN } else { 1.0 }, true)).collect();
    assert_eq!(fit_limit(&odd, Confidence::NinetyFive), Err(YieldRefusal::NotFinite { at: 8 }));
}

#[test]
fn castings_that_lie_apart_leave_the_limit_between_them() {
    let outcomes: Vec<_> = (0..30)
        .map(|n| Outcome { margin: f64::from(n) + if n >= 20 { 5.0 } else { 0.0 }, good: n < 20 })
        .collect();
    let seen = fit_limit(&outcomes, Confidence::NinetyFive).unwrap();
    assert_eq!(seen.value, LimitSeen::Apart { good_to: 19.0, bad_from: 25.0 });
    assert!(!seen.working.warnings.is_empty());
}

proptest! {
    /// The limit moves with the scale in which margins are measured, and lies within its interval.
    #[test]
    fn limits_do_not_hang_on_the_unit(scale in 0.001..1000.0_f64, shift in -500.0..500.0_f64) {
        let plain = fitted(&flights());
        let moved: Vec<_> = flights()
            .iter()
            .map(|o| Outcome { margin: o.margin * scale + shift, good: o.good })
            .collect();
        let moved = fitted(&moved);
        for (a, b) in [
            (plain.nine_of_ten, moved.nine_of_ten),
            (plain.half, moved.half),
            (plain.one_of_ten, moved.one_of_ten),
        ] {
            for (a, b) in [(a.at, b.at), (a.low, b.low), (a.high, b.high)] {
                prop_assert!(((a * scale + shift) - b).abs() < 1e-4 * scale, "{} {}", a, b);
            }
            prop_assert!(b.low < b.at && b.at < b.high);
        }
    }
}
