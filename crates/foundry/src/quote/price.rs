//! From cost to price, discount, tax and deposit.

use std::borrow::Cow;

use rust_decimal::Decimal;

use crate::quantity::{Currency, Money};
use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::check::faults_of;
use super::cost::{CostedLine, cost_of, minus, money, over, plus, rate, rounded, sum, times};
use super::share_out::{round_to_sum, share_out};
use super::{
    Amounts, Discount, Margin, Percent, PriceBy, PricedLine, Quote, QuoteFault, QuoteInput,
    QuoteLine, QuoteRefusal, Rounding, Tax, TaxClass, TaxTotal,
};

/// Prices a quote.
///
/// The working of each line is with the line; the working returned here holds the totals,
/// the deposit, and all warnings.
///
/// # Accuracy
/// Exact decimals; a quotient is kept to 28 digits before it is rounded. The places of
/// rounding are listed at the head of this module.
///
/// # Refuses
/// Every fault of the input at once: missing prices, two currencies, negative or impossible
/// rates, batches of nothing, a margin of 100 % or more, a discount above the price.
pub fn price(input: &QuoteInput) -> Result<Worked<Quote>, QuoteRefusal> {
    let faults = faults_of(input);
    if !faults.is_empty() {
        return Err(QuoteRefusal { faults });
    }
    Ok(price_checked(input)?)
}

/// A line on its way to a price.
struct Draft<'a> {
    line: &'a QuoteLine,
    costed: CostedLine,
    unit_price: Option<Money>,
    list: Money,
}

fn price_checked(input: &QuoteInput) -> Result<Worked<Quote>, QuoteFault> {
    let currency = input.currency;
    let mut drafts = Vec::new();
    for line in &input.lines {
        let mut costed = cost_of(line, currency, input.overhead)?;
        let (unit_price, list) = list_price(input, line, &mut costed)?;
        drafts.push(Draft { line, costed, unit_price, list });
    }
    let discounts = discounts(input, &drafts)?;
    let mut payable = Vec::new();
    for (draft, discount) in drafts.iter().zip(&discounts) {
        payable.push(minus(draft.list, *discount)?);
    }
    let taxes = taxes(input, &payable)?;
    let mut lines = Vec::new();
    for (number, draft) in drafts.into_iter().enumerate() {
        lines.push(priced_line(input, draft, discounts[number], payable[number], taxes[number])?);
    }
    let totals = totals(currency, &lines)?;
    let by_tax = totals_by_tax(input, &lines)?;
    let deposit = rounded(times(totals.gross, input.deposit.factor())?)?;
    let balance = minus(totals.gross, deposit)?;
    let working = totals_working(input, &lines, (&totals, &by_tax), deposit, balance);
    Ok(Worked { value: Quote { lines, totals, by_tax, deposit, balance }, working })
}

/// The price shown for a line, and for each piece when pieces are priced.
fn list_price(
    input: &QuoteInput,
    line: &QuoteLine,
    costed: &mut CostedLine,
) -> Result<(Option<Money>, Money), QuoteFault> {
    let working = &mut costed.working;
    let cost = money("cost", costed.cost, Source::Computed);
    let (net, formula, margin) = match input.margin {
        Margin::OfNetPrice(share) => (
            over(costed.cost, Decimal::ONE - share.factor())?,
            "cost ÷ (1 − margin ÷ 100)",
            rate("margin, as a share of the net price", share),
        ),
        Margin::MarkupOnCost(share) => (
            times(costed.cost, Decimal::ONE + share.factor())?,
            "cost × (1 + markup ÷ 100)",
            rate("markup on cost", share),
        ),
    };
    working.step(
        formula,
        vec![cost, margin],
        money("net price before rounding", net, Source::Computed),
    );
    let shown = match input.tax {
        Tax::Exclusive(_) => net,
        Tax::Inclusive(_) => {
            let tax = input.tax_rate(line);
            let shown = times(net, Decimal::ONE + tax.factor())?;
            working.step(
                "net price × (1 + tax ÷ 100)",
                vec![
                    money("net price", net, Source::Computed),
                    rate(tax_name(line, "tax contained"), tax),
                ],
                money("price with tax before rounding", shown, Source::Computed),
            );
            shown
        }
    };
    let quantity = Decimal::from(line.quantity);
    let pieces = Figure::count("quantity", i64::from(line.quantity), "pieces", Source::Entered);
    match input.price_by {
        PriceBy::Line => {
            let list = rounded(shown)?;
            working.step(
                "price, rounded",
                vec![money("price before rounding", shown, Source::Computed)],
                money("price of the line", list, Source::Computed),
            );
            Ok((None, list))
        }
        PriceBy::Piece => {
            let unit = rounded(over(shown, quantity)?)?;
            let list = times(unit, quantity)?;
            working.step(
                "price ÷ quantity, rounded",
                vec![money("price before rounding", shown, Source::Computed), pieces.clone()],
                money("price of a piece", unit, Source::Computed),
            );
            working.step(
                "price of a piece × quantity",
                vec![money("price of a piece", unit, Source::Computed), pieces],
                money("price of the line", list, Source::Computed),
            );
            Ok((Some(unit), list))
        }
    }
}

/// The discount of each line. A unit left over between equal remainders goes by tax and price
/// and not by the order of the lines, for in another tax it would change what is paid.
fn discounts(input: &QuoteInput, drafts: &[Draft<'_>]) -> Result<Vec<Money>, QuoteFault> {
    let currency = input.currency;
    let whole = sum(currency, drafts.iter().map(|draft| draft.list))?;
    let mut order: Vec<usize> = (0..drafts.len()).collect();
    order.sort_by_cached_key(|&at| {
        let line = &input.lines[at];
        let class = line.tax.as_ref().map(|class| class.name.clone());
        (input.tax_rate(line).factor(), class, drafts[at].list.amount())
    });
    let in_order = order.iter().map(|&at| drafts[at].list);
    let shared = match input.discount {
        Discount::None => return Ok(vec![Money::zero(currency); drafts.len()]),
        Discount::Share(share) => {
            let exact =
                in_order.map(|list| times(list, share.factor())).collect::<Result<Vec<_>, _>>()?;
            rounded_by_rule(input.rounding, currency, &exact)?
        }
        Discount::Amount(amount) => {
            let amount = rounded(amount)?;
            if amount.amount() < Decimal::ZERO || amount.amount() > whole.amount() {
                return Err(QuoteFault::DiscountOutOfRange { most: whole.amount() });
            }
            let weights: Vec<Decimal> = in_order.map(|list| list.amount()).collect();
            share_out(amount, &weights)?
        }
    };
    let mut discounts = vec![Money::zero(currency); drafts.len()];
    for (at, discount) in order.into_iter().zip(shared) {
        discounts[at] = discount;
    }
    Ok(discounts)
}

/// What the tax of a line is called in its working.
fn tax_name(line: &QuoteLine, own: &'static str) -> Cow<'static, str> {
    line.tax.as_ref().map_or(Cow::Borrowed(own), |class| class.name.clone())
}

/// Lines by their tax, in the order in which taxes first appear.
fn by_class<'a>(
    lines: impl Iterator<Item = &'a QuoteLine>,
) -> Vec<(Option<&'a TaxClass>, Vec<usize>)> {
    let mut groups: Vec<(Option<&TaxClass>, Vec<usize>)> = Vec::new();
    for (at, line) in lines.enumerate() {
        let class = line.tax.as_ref();
        match groups.iter_mut().find(|(known, _)| *known == class) {
            Some((_, places)) => places.push(at),
            None => groups.push((class, vec![at])),
        }
    }
    groups
}

/// Net and tax of each line. Rounding on the total rounds the total of each tax.
fn taxes(input: &QuoteInput, payable: &[Money]) -> Result<Vec<(Money, Money)>, QuoteFault> {
    let nothing = Money::zero(input.currency);
    let mut out = vec![(nothing, nothing); payable.len()];
    for (class, places) in by_class(input.lines.iter()) {
        let rate = class.map_or(input.tax.rate(), |class| class.rate);
        let of_class: Vec<Money> = places.iter().map(|at| payable[*at]).collect();
        let pairs = taxes_at(input, rate, &of_class)?;
        for (at, pair) in places.into_iter().zip(pairs) {
            out[at] = pair;
        }
    }
    Ok(out)
}

/// Net and tax of lines of one rate.
fn taxes_at(
    input: &QuoteInput,
    rate: Percent,
    payable: &[Money],
) -> Result<Vec<(Money, Money)>, QuoteFault> {
    let currency = input.currency;
    match input.tax {
        Tax::Exclusive(_) => {
            let exact = payable
                .iter()
                .map(|net| times(*net, rate.factor()))
                .collect::<Result<Vec<_>, _>>()?;
            let taxes = rounded_by_rule(input.rounding, currency, &exact)?;
            Ok(payable.iter().copied().zip(taxes).collect())
        }
        Tax::Inclusive(_) => {
            let exact = payable
                .iter()
                .map(|gross| over(*gross, Decimal::ONE + rate.factor()))
                .collect::<Result<Vec<_>, _>>()?;
            let nets = rounded_by_rule(input.rounding, currency, &exact)?;
            payable.iter().zip(nets).map(|(gross, net)| Ok((net, minus(*gross, net)?))).collect()
        }
    }
}

/// What the lines of each tax come to.
fn totals_by_tax(input: &QuoteInput, lines: &[PricedLine]) -> Result<Vec<TaxTotal>, QuoteFault> {
    by_class(input.lines.iter())
        .into_iter()
        .map(|(class, places)| {
            let total = |pick: fn(&Amounts) -> Money| {
                sum(input.currency, places.iter().map(|at| pick(&lines[*at].amounts)))
            };
            Ok(TaxTotal {
                class: class.cloned(),
                rate: class.map_or(input.tax.rate(), |class| class.rate),
                net: total(|amounts| amounts.net)?,
                tax: total(|amounts| amounts.tax)?,
                gross: total(|amounts| amounts.gross)?,
            })
        })
        .collect()
}

/// Rounds each amount, or their total which the rounded amounts then add up to.
fn rounded_by_rule(
    rounding: Rounding,
    currency: Currency,
    exact: &[Money],
) -> Result<Vec<Money>, QuoteFault> {
    match rounding {
        Rounding::PerLine => exact.iter().map(|amount| rounded(*amount)).collect(),
        Rounding::OnTotal => {
            let total = rounded(sum(currency, exact.iter().copied())?)?;
            let exact: Vec<Decimal> = exact.iter().map(Money::amount).collect();
            round_to_sum(total, &exact)
        }
    }
}

fn priced_line(
    input: &QuoteInput,
    draft: Draft<'_>,
    discount: Money,
    payable: Money,
    (net, tax): (Money, Money),
) -> Result<PricedLine, QuoteFault> {
    let Draft { line, costed, unit_price, list } = draft;
    let CostedLine { components, direct, overhead, cost, mut working } = costed;
    let gross = plus(net, tax)?;
    let earned = minus(net, cost)?;
    if !matches!(input.discount, Discount::None) {
        let taken = match input.discount {
            Discount::Share(share) => rate("discount", share),
            _ => money("share of the discount, by price", discount, Source::Computed),
        };
        working.step(
            format!("price of the line − discount{}", rounding_note(input.rounding)),
            vec![money("price of the line", list, Source::Computed), taken],
            money("price after discount", payable, Source::Computed),
        );
    }
    let note = rounding_note(input.rounding);
    let percent = input.tax_rate(line);
    match input.tax {
        Tax::Exclusive(_) => working.step(
            format!("net × tax ÷ 100{note}"),
            vec![money("net", net, Source::Computed), rate(tax_name(line, "tax"), percent)],
            money("tax", tax, Source::Computed),
        ),
        Tax::Inclusive(_) => working.step(
            format!("price − price ÷ (1 + tax ÷ 100){note}"),
            vec![
                money("price with tax", payable, Source::Computed),
                rate(tax_name(line, "tax contained"), percent),
            ],
            money("tax", tax, Source::Computed),
        ),
    };
    working.step(
        "net + tax",
        vec![money("net", net, Source::Computed), money("tax", tax, Source::Computed)],
        money("to pay", gross, Source::Computed),
    );
    working.step(
        "net − cost",
        vec![money("net", net, Source::Computed), money("cost", cost, Source::Computed)],
        money("earned", earned, Source::Computed),
    );
    if earned.amount() < Decimal::ZERO {
        working.warn(format!("{} is offered below its cost.", line.name));
    }
    let amounts = Amounts { direct, overhead, cost, list, discount, net, tax, gross, earned };
    Ok(PricedLine {
        name: line.name.clone(),
        quantity: line.quantity,
        components,
        amounts,
        unit_price,
        working,
    })
}

const fn rounding_note(rounding: Rounding) -> &'static str {
    match rounding {
        Rounding::PerLine => ", rounded",
        Rounding::OnTotal => ", rounded on the total and shared out by largest remainders",
    }
}

fn totals(currency: Currency, lines: &[PricedLine]) -> Result<Amounts, QuoteFault> {
    let total =
        |pick: fn(&Amounts) -> Money| sum(currency, lines.iter().map(|line| pick(&line.amounts)));
    Ok(Amounts {
        direct: total(|amounts| amounts.direct)?,
        overhead: total(|amounts| amounts.overhead)?,
        cost: total(|amounts| amounts.cost)?,
        list: total(|amounts| amounts.list)?,
        discount: total(|amounts| amounts.discount)?,
        net: total(|amounts| amounts.net)?,
        tax: total(|amounts| amounts.tax)?,
        gross: total(|amounts| amounts.gross)?,
        earned: total(|amounts| amounts.earned)?,
    })
}

fn totals_working(
    input: &QuoteInput,
    lines: &[PricedLine],
    (totals, by_tax): (&Amounts, &[TaxTotal]),
    deposit: Money,
    balance: Money,
) -> Working {
    let mut working = Working::default();
    let add_up = |working: &mut Working, what: &'static str, pick: fn(&Amounts) -> Money, total| {
        let each = lines
            .iter()
            .map(|line| money(line.name.clone(), pick(&line.amounts), Source::Computed))
            .collect();
        working.step("sum of the lines", each, money(what, total, Source::Computed));
    };
    add_up(&mut working, "cost", |amounts| amounts.cost, totals.cost);
    add_up(&mut working, "prices", |amounts| amounts.list, totals.list);
    if !totals.discount.amount().is_zero() {
        add_up(&mut working, "discount", |amounts| amounts.discount, totals.discount);
    }
    add_up(&mut working, "net", |amounts| amounts.net, totals.net);
    add_up(&mut working, "tax", |amounts| amounts.tax, totals.tax);
    if by_tax.len() > 1 {
        for each in by_tax {
            let name = each.class.as_ref().map_or("tax", |class| class.name.as_ref());
            working.step(
                "sum of the lines of this tax",
                vec![rate(name.to_owned(), each.rate), money("net", each.net, Source::Computed)],
                money(format!("{name} of them"), each.tax, Source::Computed),
            );
        }
    }
    add_up(&mut working, "to pay", |amounts| amounts.gross, totals.gross);
    let gross = || money("to pay", totals.gross, Source::Computed);
    working.step(
        "to pay × deposit ÷ 100, rounded",
        vec![gross(), rate("deposit", input.deposit)],
        money("deposit", deposit, Source::Computed),
    );
    working.step(
        "to pay − deposit",
        vec![gross(), money("deposit", deposit, Source::Computed)],
        money("balance", balance, Source::Computed),
    );
    for line in lines {
        working.warnings.extend(line.working.warnings.iter().cloned());
    }
    working
}

impl Amounts {
    /// What is earned as a share of the net price, in per cent; `None` when nothing is charged.
    #[must_use]
    pub fn earned_percent(&self) -> Option<Percent> {
        let share = self.earned.amount().checked_div(self.net.amount())?;
        Some(Percent((share * Decimal::ONE_HUNDRED).round_dp(2)))
    }
}
