#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]

use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

use super::*;

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn line(quantity: &str, price: &str, taxes: &str) -> Line {
    Line {
        words: "Ring".to_owned(),
        quantity: dec(quantity),
        unit_price: dec(price),
        discount: Decimal::ZERO,
        taxes: read_taxes(taxes).unwrap(),
        fixed: None,
    }
}

fn rules(currency: &str, inclusive: bool, rounding: Rounding) -> Rules {
    Rules { currency: Currency::by_code(currency).unwrap(), inclusive, rounding }
}

/// By hand: 3 × 0.35 = 1.05, 19 % of it 0.1995, so 0.20; three such lines have 0.60 of tax when
/// each is rounded, and 19 % of 3.15 = 0.5985, so 0.60 too. Of 1.03, a line has 0.1957, so 0.20,
/// three have 0.60; together 19 % of 3.09 = 0.5871, so 0.59.
#[test]
fn tax_is_rounded_where_the_rule_says() {
    let lines = vec![line("1", "1.03", "VAT 19"); 3];
    let (_, each) = reckon(&lines, rules("EUR", false, Rounding::Line)).unwrap();
    assert_eq!((each.net, each.tax, each.total), (dec("3.09"), dec("0.60"), dec("3.69")));
    let (shares, once) = reckon(&lines, rules("EUR", false, Rounding::Document)).unwrap();
    assert_eq!((once.net, once.tax, once.total), (dec("3.09"), dec("0.59"), dec("3.68")));
    let shares: Vec<Decimal> = shares.iter().map(|line| line.taxes[0].amount).collect();
    assert_eq!(shares, [dec("0.20"), dec("0.20"), dec("0.19")]);
}

/// By hand: 119.00 with 19 % inside is 100.00 and 19.00; yen have no decimals: 3 × 333.5 = 1000.5,
/// rounded 1001, 10 % of it 100.1, so 100; dinars have three.
#[test]
fn tax_inside_and_currencies_with_other_decimals() {
    let (lines, totals) =
        reckon(&[line("1", "119", "VAT 19")], rules("EUR", true, Rounding::Line)).unwrap();
    assert_eq!((totals.net, totals.tax, totals.total), (dec("100"), dec("19"), dec("119")));
    assert_eq!(lines[0].amount, dec("119"));
    let (_, yen) =
        reckon(&[line("3", "333.5", "CT 10")], rules("JPY", false, Rounding::Line)).unwrap();
    assert_eq!((yen.net, yen.tax, yen.total), (dec("1001"), dec("100"), dec("1101")));
    let (_, dinars) =
        reckon(&[line("1", "1.0005", "VAT 5")], rules("KWD", false, Rounding::Line)).unwrap();
    assert_eq!((dinars.net, dinars.tax), (dec("1.001"), dec("0.050")));
}

/// By hand: two taxes on one line, 5 % and 9.975 % of 200.00: 10.00 and 19.95.
#[test]
fn several_taxes_stand_on_one_line_and_on_several() {
    let lines =
        [line("2", "100", "GST 5 + QST 9.975"), line("1", "50", "GST 5"), line("1", "7", "")];
    let (_, totals) = reckon(&lines, rules("CAD", false, Rounding::Line)).unwrap();
    let gst = &totals.taxes[0];
    assert_eq!((gst.base, gst.amount), (dec("250"), dec("12.50")));
    let qst = &totals.taxes[1];
    assert_eq!((qst.base, qst.amount), (dec("200"), dec("19.95")));
    assert_eq!(totals.total, dec("257") + dec("32.45"));
}

#[test]
fn whatever_the_lines_the_document_is_their_sum_and_tax_is_off_by_no_more_than_rounding() {
    let mut random = StdRng::seed_from_u64(20_261_130);
    let taxes = ["", "VAT 19", "VAT 7", "GST 5 + QST 9.975", "X 0", "Y 33.3333"];
    for round in 0..4000 {
        let lines: Vec<Line> = (0..random.random_range(1..9))
            .map(|_| Line {
                words: String::new(),
                quantity: Decimal::new(
                    random.random_range(-20_000..90_000),
                    random.random_range(0..4),
                ),
                unit_price: Decimal::new(
                    random.random_range(-9_000..900_000),
                    random.random_range(0..6),
                ),
                discount: Decimal::new(random.random_range(0..500), 2),
                taxes: read_taxes(taxes[random.random_range(0..taxes.len())]).unwrap(),
                fixed: None,
            })
            .collect();
        let currency = ["EUR", "JPY", "KWD"][round % 3];
        let unit = Decimal::new(1, Currency::by_code(currency).unwrap().minor_digits());
        for inclusive in [false, true] {
            for rounding in [Rounding::Line, Rounding::Document] {
                let rules = rules(currency, inclusive, rounding);
                let (each, totals) = reckon(&lines, rules).unwrap();
                let sum = |pick: fn(&Reckoned) -> Decimal| each.iter().map(pick).sum::<Decimal>();
                assert_eq!(totals.net, sum(|line| line.net));
                assert_eq!(totals.total, sum(|line| line.gross));
                assert_eq!(totals.net + totals.tax, totals.total);
                let by_tax: Decimal = totals.taxes.iter().map(|tax| tax.amount).sum();
                assert_eq!(by_tax, totals.tax);
                let shown = if inclusive { totals.total } else { totals.net };
                assert_eq!(shown, sum(|line| line.amount));
                for line in &each {
                    assert_eq!(line.amount % unit, Decimal::ZERO);
                    assert_eq!(line.net % unit, Decimal::ZERO);
                }
                if rounding == Rounding::Document {
                    for tax in &totals.taxes {
                        let exact: Decimal = lines
                            .iter()
                            .zip(&each)
                            .filter(|(line, _)| line.taxes.contains(&tax.tax))
                            .map(|(line, out)| {
                                let base = exact_base(line, out.amount, inclusive).unwrap();
                                base * tax.tax.percent / Decimal::ONE_HUNDRED
                            })
                            .sum();
                        assert!((tax.amount - exact).abs() * Decimal::TWO <= unit, "{exact}");
                    }
                }
            }
        }
    }
}

#[test]
fn taxes_are_read_as_they_are_written() {
    let read = read_taxes("GST 5 % + QST 9,975").unwrap();
    assert_eq!(
        write_taxes(read.iter().map(|tax| (tax.name.as_str(), tax.percent))),
        "GST 5 + QST 9.975"
    );
    for wrong in ["19", "VAT", "VAT many", "VAT -1", "VAT 101", "VAT 1.23456", "A 5 + A 5"] {
        assert!(read_taxes(wrong).is_err(), "{wrong}");
    }
    assert_eq!(read_taxes("  ").unwrap(), []);
}

#[test]
fn a_slipped_decimal_point_is_refused() {
    let huge = line("9999999999", "999999999999.999999", "VAT 19");
    assert_eq!(reckon(&[huge], rules("EUR", false, Rounding::Line)), Err(TooLarge));
}
