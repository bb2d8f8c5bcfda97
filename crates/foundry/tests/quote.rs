//! Quotes: worked examples, exactness under every mode, refusals.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::metal::{Fineness, WeightUnit};
use foundry::quantity::{Currency, Money};
use foundry::quote::{
    Billed, Component, CostKind, Discount, Factor, Margin, MetalPrice, Percent, PriceBy, Quote,
    QuoteFault, QuoteInput, QuoteLine, Recurs, Rounding, Tax, TaxClass, measured, price,
    price_per_gram, share_out,
};
use foundry::working::Worked;
use proptest::prelude::*;
use rust_decimal::Decimal;

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn percent(text: &str) -> Percent {
    Percent(decimal(text))
}

fn euro() -> Currency {
    Currency::by_code("EUR").unwrap()
}

fn euros(text: &str) -> Money {
    Money::new(decimal(text), euro())
}

fn line(name: &'static str, quantity: u32, components: Vec<Component>) -> QuoteLine {
    QuoteLine { name: name.into(), quantity, spares: 0, components, tax: None }
}

fn input(lines: Vec<QuoteLine>) -> QuoteInput {
    QuoteInput {
        currency: euro(),
        lines,
        overhead: percent("0"),
        margin: Margin::OfNetPrice(percent("0")),
        price_by: PriceBy::Piece,
        discount: Discount::None,
        tax: Tax::Exclusive(percent("0")),
        rounding: Rounding::PerLine,
        deposit: percent("0"),
    }
}

/// One component that costs a fixed amount.
fn fixed(amount: &str) -> Component {
    Component::new(CostKind::Other, "work", Decimal::ONE, "", Some(euros(amount)), Recurs::Once)
}

fn rings(quantity: u32) -> QuoteLine {
    let metal = MetalPrice::Fine {
        per_gram: Some(euros("0.92")),
        fineness: Fineness::from_per_mille(decimal("925")).unwrap(),
    };
    let rate = Some(euros("42"));
    let mut components = vec![
        Component::metal("sterling silver", decimal("8.40"), metal, percent("1")),
        Component::resin(decimal("6.2"), Some(euros("0.18"))),
        Component::printer_hours(decimal("5.5"), Some(euros("1.40")), 8, Billed::Whole),
        Component::investment(decimal("0.8"), Some(euros("2.60")), 6, Billed::Whole),
    ];
    let load = Recurs::PerLoad { pieces_per_batch: 6, batches_per_load: 4, billed: Billed::Share };
    components.extend(Component::kiln(
        decimal("14"),
        Some(euros("0.31")),
        decimal("12"),
        Some(euros("0.80")),
        load,
    ));
    components.extend([
        Component::minutes(CostKind::Bench, "bench", decimal("25"), rate, Recurs::PerPiece),
        Component::minutes(CostKind::Finishing, "finishing", decimal("40"), rate, Recurs::PerPiece),
        Component::minutes(CostKind::SetUp, "set-up", decimal("60"), rate, Recurs::Once),
    ]);
    line("ring", quantity, components)
}

fn studio(lines: Vec<QuoteLine>) -> QuoteInput {
    QuoteInput {
        overhead: percent("15"),
        margin: Margin::OfNetPrice(percent("20")),
        tax: Tax::Exclusive(percent("19")),
        deposit: percent("50"),
        ..input(lines)
    }
}

#[test]
fn three_rings_come_out_as_by_hand() {
    let quote = price(&studio(vec![rings(3)])).unwrap().value;
    let costs: Vec<Decimal> =
        quote.lines[0].components.iter().map(|component| component.cost.amount()).collect();
    // By hand: 8.40 × 0.925 ÷ 0.99 × 0.92 × 3 = 21.6618; 6.2 × 0.18 × 3 = 3.348; 5.5 × 1.40;
    // 0.8 × 2.60; a quarter of 14 × 0.31 = 1.085; a quarter of 12 × 0.80; 25/60 × 42 × 3;
    // 40/60 × 42 × 3; 42.
    let by_hand = ["21.66", "3.35", "7.70", "2.08", "1.09", "2.40", "52.50", "84.00", "42.00"];
    assert_eq!(costs, by_hand.map(decimal));
    // Overhead 0.15 × 216.78 = 32.517; 249.30 ÷ 0.8 = 311.625, for one 103.875; tax 0.19 × 311.64 = 59.2116.
    let totals = quote.totals;
    assert_eq!(totals.direct, euros("216.78"));
    assert_eq!(totals.overhead, euros("32.52"));
    assert_eq!(totals.cost, euros("249.30"));
    assert_eq!(quote.lines[0].unit_price, Some(euros("103.88")));
    assert_eq!(totals.list, euros("311.64"));
    assert_eq!(totals.net, euros("311.64"));
    assert_eq!(totals.tax, euros("59.21"));
    assert_eq!(totals.gross, euros("370.85"));
    assert_eq!(totals.earned, euros("62.34"));
    assert_eq!(totals.earned_percent(), Some(percent("20.00")));
    assert_eq!((quote.deposit, quote.balance), (euros("185.43"), euros("185.42")));
}

#[test]
fn set_up_and_batches_make_many_pieces_cheaper_each() {
    let unit = |quantity| price(&studio(vec![rings(quantity)])).unwrap().value.lines[0].unit_price;
    let amount = |quantity| unit(quantity).unwrap().amount();
    assert!(amount(1) > amount(3) && amount(3) > amount(6) && amount(6) > amount(24));
    // A seventh ring begins a second flask.
    let powder =
        |quantity| price(&studio(vec![rings(quantity)])).unwrap().value.lines[0].components[3].cost;
    assert_eq!((powder(6), powder(7), powder(13)), (euros("2.08"), euros("4.16"), euros("6.24")));
}

#[test]
fn margin_is_of_the_price_and_markup_is_on_the_cost() {
    // Any bookkeeping text: cost 60 and price 100 are a margin of 40 % and a markup of 66⅔ %;
    // cost 80 and price 100 a margin of 20 % and a markup of 25 %.
    let net = |cost: &str, margin| {
        let quoted = QuoteInput { margin, ..input(vec![line("piece", 1, vec![fixed(cost)])]) };
        price(&quoted).unwrap().value.totals.net
    };
    assert_eq!(net("60", Margin::OfNetPrice(percent("40"))), euros("100"));
    assert_eq!(net("60", Margin::MarkupOnCost(percent("66.666666666666667"))), euros("100.00"));
    assert_eq!(net("80", Margin::OfNetPrice(percent("20"))), euros("100"));
    assert_eq!(net("80", Margin::MarkupOnCost(percent("25"))), euros("100"));
}

#[test]
fn contained_tax_is_taken_out_by_its_fraction() {
    // A tax of 20 % contained in a price is a sixth of it: the VAT fraction of H. M. Revenue and
    // Customs, Notice 700 (from memory).
    let contained = QuoteInput {
        tax: Tax::Inclusive(percent("20")),
        ..input(vec![line("piece", 1, vec![fixed("100")])])
    };
    let totals = price(&contained).unwrap().value.totals;
    assert_eq!((totals.list, totals.net, totals.tax), (euros("120"), euros("100"), euros("20")));
    let dear = QuoteInput { margin: Margin::MarkupOnCost(percent("33.33")), ..contained };
    let totals = price(&dear).unwrap().value.totals;
    // 133.33 × 1.2 = 159.996, shown as 160.00; a sixth of it is 26.67.
    assert_eq!((totals.gross, totals.tax), (euros("160.00"), euros("26.67")));
}

#[test]
fn discounts_come_off_what_is_shown() {
    let two = || vec![line("a", 1, vec![fixed("100")]), line("b", 1, vec![fixed("50")])];
    let share = QuoteInput { discount: Discount::Share(percent("10")), ..input(two()) };
    assert_eq!(price(&share).unwrap().value.totals.net, euros("135"));
    let amount = QuoteInput { discount: Discount::Amount(euros("10")), ..input(two()) };
    let quote = price(&amount).unwrap().value;
    assert_eq!(quote.lines[0].amounts.discount, euros("6.67"));
    assert_eq!(quote.lines[1].amounts.discount, euros("3.33"));
    assert_eq!(quote.totals.net, euros("140"));
    let all = QuoteInput { discount: Discount::Amount(euros("150.01")), ..input(two()) };
    assert!(matches!(price(&all).unwrap_err().faults[..], [QuoteFault::DiscountOutOfRange { .. }]));
    let below_cost = price(&share).unwrap();
    assert_eq!(below_cost.working.warnings.len(), 2, "both lines sold below cost");
}

#[test]
fn largest_remainders_follow_the_textbook() {
    // Votes of 6, 6 and 2: ten seats go 4, 4, 2 and eleven go 5, 5, 1 (the Alabama paradox as in the
    // encyclopaedia's article on the largest remainder method, from memory).
    let yen = Currency::by_code("JPY").unwrap();
    let seats = |count: i64| {
        let weights = [6, 6, 2].map(Decimal::from);
        let shares = share_out(Money::new(count.into(), yen), &weights).unwrap();
        shares.into_iter().map(|share| share.amount()).collect::<Vec<_>>()
    };
    assert_eq!(seats(10), [4, 4, 2].map(Decimal::from));
    assert_eq!(seats(11), [5, 5, 1].map(Decimal::from));
    assert_eq!(share_out(euros("1"), &[]), Err(QuoteFault::NothingToShareBy));
    assert_eq!(share_out(euros("1"), &[Decimal::ZERO]), Err(QuoteFault::NothingToShareBy));
}

#[test]
fn amounts_have_the_digits_of_their_currency() {
    // Minor units after ISO 4217: yen none, euro two, Kuwaiti dinar three.
    for (code, expected) in [("JPY", "13"), ("EUR", "12.55"), ("KWD", "12.547")] {
        let currency = Currency::by_code(code).unwrap();
        let cost = Money::new(decimal("12.5465"), currency);
        let component =
            Component::new(CostKind::Other, "work", Decimal::ONE, "", Some(cost), Recurs::Once);
        let quoted = QuoteInput { currency, ..input(vec![line("piece", 1, vec![component])]) };
        assert_eq!(price(&quoted).unwrap().value.totals.gross.amount(), decimal(expected));
    }
}

#[test]
fn rounding_on_the_total_differs_from_rounding_each_line() {
    // Three lines of 0.03 at 17 %: each 0.0051 rounds to 0.01, together 0.0153 rounds to 0.02.
    let lines = || (0..3).map(|_| line("bead", 1, vec![fixed("0.03")])).collect::<Vec<_>>();
    let tax = |rounding| {
        let quoted = QuoteInput { tax: Tax::Exclusive(percent("17")), rounding, ..input(lines()) };
        price(&quoted).unwrap().value.totals.tax
    };
    assert_eq!(tax(Rounding::PerLine), euros("0.03"));
    assert_eq!(tax(Rounding::OnTotal), euros("0.02"));
}

fn class(name: &'static str, rate: &str) -> Option<TaxClass> {
    Some(TaxClass { name: name.into(), rate: percent(rate) })
}

#[test]
fn each_tax_is_rounded_by_itself() {
    // Three beads of 0.03 at 17 % and three books of 0.03 at 7 %, by hand: each line 0.0051 and
    // 0.0021; on lines 0.01 and 0.00 each, on the total of each tax 0.0153 and 0.0063. That tax is
    // reckoned on the sum of the lines of its rate, and the whole is the sum of those, are rules
    // BR-S-09 and BR-CO-14 of EN 16931-1 (from memory).
    let lines = || {
        let bead = || line("bead", 1, vec![fixed("0.03")]);
        let book =
            || QuoteLine { tax: class("reduced", "7"), ..line("book", 1, vec![fixed("0.03")]) };
        vec![bead(), book(), bead(), book(), bead(), book()]
    };
    let by_tax = |rounding| {
        let quoted = QuoteInput { tax: Tax::Exclusive(percent("17")), rounding, ..input(lines()) };
        let quote = price(&quoted).unwrap().value;
        let each: Vec<_> =
            quote.by_tax.iter().map(|tax| (tax.rate, tax.net.amount(), tax.tax.amount())).collect();
        (each, quote.totals.tax)
    };
    let of = |tax: &str, reduced: &str| {
        vec![
            (percent("17"), decimal("0.09"), decimal(tax)),
            (percent("7"), decimal("0.09"), decimal(reduced)),
        ]
    };
    assert_eq!(by_tax(Rounding::PerLine), (of("0.03", "0.00"), euros("0.03")));
    assert_eq!(by_tax(Rounding::OnTotal), (of("0.02", "0.01"), euros("0.03")));
}

#[test]
fn prices_that_contain_tax_contain_that_of_their_line() {
    // The VAT fraction of a rate r is r/(100 + r): a sixth for 20 %, 1/21 for 5 % (H. M. Revenue
    // and Customs, Notice 700, from memory). 100 costs 120 at 20 %, 105 at 5 %, 100 at none.
    let lines = vec![
        line("ring", 1, vec![fixed("100")]),
        QuoteLine { tax: class("reduced", "5"), ..line("book", 1, vec![fixed("100")]) },
        QuoteLine { tax: class("exempt", "0"), ..line("course", 1, vec![fixed("100")]) },
    ];
    let quoted = QuoteInput { tax: Tax::Inclusive(percent("20")), ..input(lines) };
    let worked = price(&quoted).unwrap();
    let quote = worked.value;
    let shown: Vec<_> = quote.lines.iter().map(|line| line.amounts.list).collect();
    assert_eq!(shown, [euros("120"), euros("105"), euros("100")]);
    let taxes: Vec<_> = quote.by_tax.iter().map(|tax| tax.tax).collect();
    assert_eq!(taxes, [euros("20"), euros("5"), euros("0")]);
    assert_eq!((quote.totals.net, quote.totals.gross), (euros("300"), euros("325")));
    let named = worked.working.steps.iter().any(|step| step.result.name == "reduced of them");
    assert!(named, "each tax stands in the working");
    let wrong = QuoteLine { tax: class("slip", "120"), ..line("ring", 1, vec![fixed("1")]) };
    assert!(price(&input(vec![wrong])).is_err());
}

#[test]
fn spares_cost_but_are_not_sold() {
    let metal = || Component::resin(decimal("10"), Some(euros("1")));
    let spared = QuoteLine { spares: 1, ..line("cast leaf", 4, vec![metal()]) };
    let quote = price(&input(vec![spared])).unwrap().value;
    assert_eq!(quote.lines[0].unit_price, Some(euros("12.50")));
    assert_eq!(quote.totals.net, euros("50.00"));
}

#[test]
fn metal_by_the_troy_ounce_is_metal_by_the_gram() {
    let per_gram = price_per_gram(euros("31.1034768"), WeightUnit::TroyOunce).unwrap();
    assert_eq!(per_gram, euros("1"));
    assert_eq!(measured(8.404_999, 2), Some(decimal("8.40")));
    assert_eq!(measured(f64::NAN, 2), None);
    assert_eq!(measured(f64::INFINITY, 2), None);
}

#[test]
fn every_fault_is_reported_at_once() {
    let dollars = Money::new(decimal("2"), Currency::by_code("USD").unwrap());
    let quoted = QuoteInput {
        margin: Margin::OfNetPrice(percent("-5")),
        deposit: percent("120"),
        ..input(vec![
            line(
                "ring",
                0,
                vec![
                    Component::metal("gold", decimal("5"), MetalPrice::Alloy(None), percent("0")),
                    Component::resin(decimal("5"), Some(dollars)),
                    Component::printer_hours(decimal("1"), Some(euros("1")), 0, Billed::Share),
                    fixed("-1"),
                ],
            ),
            line("brooch", 1, vec![]),
        ])
    };
    let refusal = price(&quoted).unwrap_err();
    assert_eq!(refusal.faults.len(), 8, "{refusal}");
    assert!(refusal.to_string().contains("gold has no price"));
    assert!(refusal.to_string().contains("convert it first"));
}

#[test]
fn impossible_rates_are_refused() {
    let faults = |margin, tax: &str, loss: &str| {
        let metal = Component::metal(
            "gold",
            decimal("5"),
            MetalPrice::Alloy(Some(euros("60"))),
            percent(loss),
        );
        let lines = vec![line("ring", 1, vec![metal])];
        let quoted = QuoteInput { margin, tax: Tax::Exclusive(percent(tax)), ..input(lines) };
        price(&quoted).map(|_| ()).unwrap_err().faults
    };
    let none = Margin::OfNetPrice(percent("0"));
    let hundred = faults(Margin::OfNetPrice(percent("100")), "0", "0");
    assert!(matches!(hundred[..], [QuoteFault::RateTooHigh { what: "the margin", .. }]));
    let negative = faults(Margin::MarkupOnCost(percent("-1")), "0", "0");
    assert!(matches!(negative[..], [QuoteFault::NegativeRate { what: "the markup", .. }]));
    assert!(matches!(faults(none, "101", "0")[..], [QuoteFault::RateTooHigh { .. }]));
    assert!(matches!(faults(none, "0", "100")[..], [QuoteFault::DividedByNothing { .. }]));
    assert!(matches!(faults(none, "0", "-1")[..], [QuoteFault::NegativeComponent { .. }]));
    assert!(matches!(price(&input(vec![])).unwrap_err().faults[..], [QuoteFault::NoLines]));
}

#[test]
fn amounts_beyond_belief_are_refused_and_never_panic() {
    for huge in ["79228162514264337593543950335", "1000000000000000001", "9999999999999999999999"] {
        let component = Component::resin(decimal(huge), Some(euros(huge)));
        let quoted = studio(vec![line("ring", u32::MAX, vec![component])]);
        assert_eq!(price(&quoted).unwrap_err().faults, [QuoteFault::TooLarge]);
        let once = studio(vec![line("ring", 1, vec![fixed(huge)])]);
        assert_eq!(price(&once).unwrap_err().faults, [QuoteFault::TooLarge]);
        let markup = Margin::MarkupOnCost(percent(huge));
        let dear = QuoteInput { margin: markup, ..studio(vec![line("ring", 1, vec![fixed("9")])]) };
        assert_eq!(price(&dear).is_err(), huge != "1000000000000000001");
        let overhead = QuoteInput { overhead: percent(huge), ..dear };
        assert!(price(&overhead).is_err());
    }
}

#[test]
fn every_amount_of_a_line_stands_in_its_working() {
    let quote = price(&studio(vec![rings(3)])).unwrap();
    let line = &quote.value.lines[0];
    let results: Vec<&str> =
        line.working.steps.iter().map(|step| step.result.name.as_ref()).collect();
    for component in &line.components {
        assert!(results.contains(&format!("cost of {}", component.name).as_str()));
    }
    for name in [
        "direct cost",
        "overhead",
        "cost",
        "price of a piece",
        "price of the line",
        "tax",
        "to pay",
        "earned",
    ] {
        assert!(results.contains(&name), "{name}");
    }
    assert!(quote.working.steps.iter().any(|step| step.result.name == "deposit"));
}

fn any_component() -> impl Strategy<Value = Component> {
    let recurs = prop_oneof![
        Just(Recurs::Once),
        Just(Recurs::PerPiece),
        (1_u32..9).prop_map(|pieces| Recurs::PerBatch { pieces, billed: Billed::Whole }),
        (1_u32..9, 1_u32..5).prop_map(|(pieces_per_batch, batches_per_load)| Recurs::PerLoad {
            pieces_per_batch,
            batches_per_load,
            billed: Billed::Share,
        }),
    ];
    (0_i64..100_000, 0_i64..100_000, 0_i64..50, recurs).prop_map(|(amount, price, loss, recurs)| {
        let price = Some(Money::new(Decimal::new(price, 4), euro()));
        Component::new(CostKind::Other, "work", Decimal::new(amount, 3), "g", price, recurs)
            .with_factor(Factor::Loss(Percent(loss.into())))
    })
}

fn any_line() -> impl Strategy<Value = QuoteLine> {
    let tax = prop_oneof![
        Just(None),
        Just(class("reduced", "7")),
        Just(class("none", "0")),
        (0_i64..1000).prop_map(|tenths| {
            Some(TaxClass { name: "other".into(), rate: Percent(Decimal::new(tenths, 1)) })
        }),
    ];
    (1_u32..40, 0_u32..3, prop::collection::vec(any_component(), 1..5), tax).prop_map(
        |(quantity, spares, components, tax)| QuoteLine {
            spares,
            tax,
            ..line("piece", quantity, components)
        },
    )
}

fn any_quote() -> impl Strategy<Value = QuoteInput> {
    let tenths =
        |range: std::ops::Range<i64>| range.prop_map(|tenths| Percent(Decimal::new(tenths, 1)));
    let discount = prop_oneof![
        Just(Discount::None),
        tenths(0..1000).prop_map(Discount::Share),
        (0_i64..500).prop_map(|cents| Discount::Amount(Money::new(Decimal::new(cents, 2), euro()))),
    ];
    let margin = prop_oneof![
        tenths(0..999).prop_map(Margin::OfNetPrice),
        tenths(0..3000).prop_map(Margin::MarkupOnCost),
    ];
    let tax = prop_oneof![
        tenths(0..300).prop_map(Tax::Exclusive),
        tenths(0..300).prop_map(Tax::Inclusive),
    ];
    let modes = (
        prop_oneof![Just(PriceBy::Piece), Just(PriceBy::Line)],
        prop_oneof![Just(Rounding::PerLine), Just(Rounding::OnTotal)],
    );
    let lines = prop::collection::vec(any_line(), 1..6);
    (lines, tenths(0..2000), margin, discount, tax, modes, tenths(0..1000)).prop_map(
        |(lines, overhead, margin, discount, tax, (price_by, rounding), deposit)| QuoteInput {
            currency: euro(),
            lines,
            overhead,
            margin,
            price_by,
            discount,
            tax,
            rounding,
            deposit,
        },
    )
}

/// Re-derives every identity a quote has to hold from the finished quote alone.
fn judge(input: &QuoteInput, quote: &Quote) {
    let amount = |money: Money| money.amount();
    let mut sums = [Decimal::ZERO; 9];
    for line in &quote.lines {
        let a = &line.amounts;
        let each =
            [a.direct, a.overhead, a.cost, a.list, a.discount, a.net, a.tax, a.gross, a.earned];
        for (sum, money) in sums.iter_mut().zip(each) {
            *sum += amount(money);
            assert_eq!(money.rounded(), money, "a whole number of cents");
            assert_eq!(money.currency(), input.currency);
        }
        let components: Decimal = line.components.iter().map(|one| amount(one.cost)).sum();
        assert_eq!(components, amount(a.direct));
        assert_eq!(amount(a.cost), amount(a.direct) + amount(a.overhead));
        assert_eq!(amount(a.gross), amount(a.net) + amount(a.tax));
        assert_eq!(amount(a.earned), amount(a.net) - amount(a.cost));
        let shown = if matches!(input.tax, Tax::Exclusive(_)) { a.net } else { a.gross };
        assert_eq!(amount(shown), amount(a.list) - amount(a.discount));
        assert!(amount(a.tax) >= Decimal::ZERO && amount(a.net) >= Decimal::ZERO);
        if let Some(unit) = line.unit_price {
            assert_eq!(amount(unit) * Decimal::from(line.quantity), amount(a.list));
        }
    }
    let t = &quote.totals;
    let totals =
        [t.direct, t.overhead, t.cost, t.list, t.discount, t.net, t.tax, t.gross, t.earned];
    assert_eq!(sums, totals.map(amount));
    assert_eq!(amount(quote.deposit) + amount(quote.balance), amount(t.gross));
    judge_taxes(input, quote);
}

/// The totals by tax are sums of their lines, add up to the whole, and lie within rounding of
/// what their rate asks for.
fn judge_taxes(input: &QuoteInput, quote: &Quote) {
    let all = |pick: fn(&foundry::quote::TaxTotal) -> Money| -> Decimal {
        quote.by_tax.iter().map(|each| pick(each).amount()).sum()
    };
    assert_eq!(all(|tax| tax.net), quote.totals.net.amount());
    assert_eq!(all(|tax| tax.tax), quote.totals.tax.amount());
    assert_eq!(all(|tax| tax.gross), quote.totals.gross.amount());
    for each in &quote.by_tax {
        let of_it = input.lines.iter().zip(&quote.lines).filter(|(line, _)| line.tax == each.class);
        let lines: Vec<_> = of_it.map(|(_, priced)| priced.amounts).collect();
        let net: Decimal = lines.iter().map(|amounts| amounts.net.amount()).sum();
        let tax: Decimal = lines.iter().map(|amounts| amounts.tax.amount()).sum();
        assert_eq!((net, tax), (each.net.amount(), each.tax.amount()));
        assert_eq!(each.gross.amount(), net + tax);
        let exact = net * each.rate.factor();
        let roundings = match input.rounding {
            Rounding::PerLine => lines.len() as u64,
            Rounding::OnTotal => 1,
        };
        // A tax contained is what the rounded net leaves of the price, so up to twice as far off.
        let slack = Decimal::new(1, 2) * Decimal::from(roundings);
        assert!((exact - tax).abs() <= slack, "tax {tax} for {exact}");
        if matches!((input.tax, input.rounding), (Tax::Exclusive(_), Rounding::OnTotal)) {
            assert_eq!(tax, Money::new(exact, input.currency).rounded().amount());
        }
    }
}

proptest! {
    #[test]
    fn totals_are_the_sums_of_their_lines_under_every_mode(input in any_quote()) {
        match price(&input) {
            Ok(Worked { value, .. }) => judge(&input, &value),
            Err(refusal) => prop_assert!(
                matches!(refusal.faults[..], [QuoteFault::DiscountOutOfRange { .. }]),
                "{}", refusal
            ),
        }
    }

    #[test]
    fn the_order_of_the_lines_does_not_change_the_totals(input in any_quote()) {
        let turned = QuoteInput { lines: input.lines.iter().rev().cloned().collect(), ..input.clone() };
        match (price(&input), price(&turned)) {
            (Ok(one), Ok(other)) => {
                prop_assert_eq!(one.value.totals, other.value.totals);
            }
            (one, other) => prop_assert_eq!(one.is_err(), other.is_err()),
        }
    }

    #[test]
    fn more_pieces_never_cost_less(line in any_line(), more in 1_u32..20) {
        let cost = |quantity| {
            let quoted = input(vec![QuoteLine { quantity, ..line.clone() }]);
            price(&quoted).unwrap().value.totals.cost.amount()
        };
        prop_assert!(cost(line.quantity + more) >= cost(line.quantity));
    }

    #[test]
    fn shares_add_up_and_lie_within_a_cent_of_exact(
        cents in 0_i64..10_000_000, weights in prop::collection::vec(0_i64..1_000_000, 1..20),
    ) {
        let whole = Money::new(Decimal::new(cents, 2), euro());
        let weights: Vec<Decimal> = weights.into_iter().map(|weight| Decimal::new(weight, 3)).collect();
        let sum: Decimal = weights.iter().sum();
        match share_out(whole, &weights) {
            Ok(shares) => {
                let total: Decimal = shares.iter().map(Money::amount).sum();
                prop_assert_eq!(total, whole.amount());
                if !sum.is_zero() {
                    for (share, weight) in shares.iter().zip(&weights) {
                        let exact = whole.amount() * weight / sum;
                        prop_assert!((share.amount() - exact).abs() < Decimal::new(1, 2));
                    }
                }
            }
            Err(fault) => {
                prop_assert_eq!(fault, QuoteFault::NothingToShareBy);
                prop_assert!(sum.is_zero());
            }
        }
    }
}
