//! What a line costs to make.

use std::borrow::Cow;

use rust_decimal::Decimal;

use crate::quantity::{Currency, Money};
use crate::source::Source;
use crate::working::{Figure, Working};

use super::component::{Component, Factor};
use super::{Percent, PricedComponent, QuoteFault, QuoteLine};

/// A line with its cost, before anything is earned on it.
pub(super) struct CostedLine {
    pub(super) components: Vec<PricedComponent>,
    pub(super) direct: Money,
    pub(super) overhead: Money,
    pub(super) cost: Money,
    pub(super) working: Working,
}

/// An amount of money in a working.
pub(super) fn money(name: impl Into<Cow<'static, str>>, value: Money, source: Source) -> Figure {
    Figure::exact(name, value.amount(), value.currency().code().to_owned(), source)
}

/// A rate in a working.
pub(super) fn rate(name: impl Into<Cow<'static, str>>, percent: Percent) -> Figure {
    Figure::exact(name, percent.0, "%", Source::Entered)
}

/// Sums amounts of one currency.
pub(super) fn sum(
    currency: Currency,
    each: impl IntoIterator<Item = Money>,
) -> Result<Money, QuoteFault> {
    each.into_iter().try_fold(Money::zero(currency), plus)
}

/// Beyond this no amount is believed, and sums of hundredths stay exact well within 28 digits.
const MOST: Decimal = Decimal::from_parts(0xA764_0000, 0x0DE0_B6B3, 0, false, 0);

/// Rounds an amount to the smallest unit of its currency; refuses what is beyond all belief.
pub(super) fn rounded(value: Money) -> Result<Money, QuoteFault> {
    if value.amount().abs() > MOST {
        return Err(QuoteFault::TooLarge);
    }
    Ok(value.rounded())
}

pub(super) fn plus(left: Money, right: Money) -> Result<Money, QuoteFault> {
    left.plus(right).map_err(|_| QuoteFault::TooLarge)
}

pub(super) fn minus(left: Money, right: Money) -> Result<Money, QuoteFault> {
    plus(left, Money::new(-right.amount(), right.currency()))
}

pub(super) fn times(value: Money, factor: Decimal) -> Result<Money, QuoteFault> {
    value.times(factor).map_err(|_| QuoteFault::TooLarge)
}

pub(super) fn over(value: Money, divisor: Decimal) -> Result<Money, QuoteFault> {
    let amount = value.amount().checked_div(divisor).ok_or(QuoteFault::TooLarge)?;
    Ok(Money::new(amount, value.currency()))
}

/// Works out direct cost and overhead of a checked line.
pub(super) fn cost_of(
    line: &QuoteLine,
    currency: Currency,
    overhead: Percent,
) -> Result<CostedLine, QuoteFault> {
    let made = line.quantity.checked_add(line.spares).ok_or(QuoteFault::TooLarge)?;
    let mut working = Working::default();
    if line.spares > 0 {
        working.step(
            "quantity + spares",
            vec![
                Figure::count("quantity", i64::from(line.quantity), "pieces", Source::Entered),
                Figure::count("spares", i64::from(line.spares), "pieces", Source::Entered),
            ],
            Figure::count("pieces made", i64::from(made), "pieces", Source::Computed),
        );
    }
    let mut components = Vec::new();
    for component in &line.components {
        let cost = component_cost(line, component, made, &mut working)?;
        components.push(PricedComponent {
            kind: component.kind,
            name: component.name.clone(),
            cost,
        });
    }
    let costs = || components.iter().map(|component| component.cost);
    let direct = sum(currency, costs())?;
    working.step(
        "sum of the components",
        components
            .iter()
            .map(|component| money(component.name.clone(), component.cost, Source::Computed))
            .collect(),
        money("direct cost", direct, Source::Computed),
    );
    let overhead_cost = rounded(times(direct, overhead.factor())?)?;
    working.step(
        "direct cost × overhead ÷ 100, rounded",
        vec![money("direct cost", direct, Source::Computed), rate("overhead", overhead)],
        money("overhead", overhead_cost, Source::Computed),
    );
    let cost = plus(direct, overhead_cost)?;
    working.step(
        "direct cost + overhead",
        vec![
            money("direct cost", direct, Source::Computed),
            money("overhead", overhead_cost, Source::Computed),
        ],
        money("cost", cost, Source::Computed),
    );
    Ok(CostedLine { components, direct, overhead: overhead_cost, cost, working })
}

/// Amount × factors × price × how often it comes, rounded once at the end.
fn component_cost(
    line: &QuoteLine,
    component: &Component,
    made: u32,
    working: &mut Working,
) -> Result<Money, QuoteFault> {
    let missing = || QuoteFault::MissingPrice {
        line: line.name.chars().take(80).collect(),
        component: component.name.chars().take(80).collect(),
    };
    let price = component.price.ok_or_else(missing)?;
    let mut formula = String::from("amount");
    let mut inputs = vec![Figure::exact(
        component.name.clone(),
        component.amount,
        component.unit.clone(),
        Source::Entered,
    )];
    let mut used = component.amount;
    for factor in &component.factors {
        let (name, value, next) = match factor {
            Factor::Times { name, value } => (name.clone(), *value, used.checked_mul(*value)),
            Factor::DividedBy { name, value } => (name.clone(), *value, used.checked_div(*value)),
            Factor::Loss(loss) => {
                let kept = Decimal::ONE - loss.factor();
                (Cow::Borrowed("1 − loss"), kept, used.checked_div(kept))
            }
        };
        used = next.ok_or(QuoteFault::TooLarge)?;
        let sign = if matches!(factor, Factor::Times { .. }) { '×' } else { '÷' };
        let shown = if matches!(factor, Factor::Loss(_)) { "(1 − loss)" } else { name.as_ref() };
        formula.push_str(&format!(" {sign} {shown}"));
        inputs.push(Figure::exact(name, value, "", Source::Entered));
    }
    let recurring = component.recurs.times(made).ok_or(QuoteFault::TooLarge)?;
    let counted_in = component.recurs.counted_in();
    formula.push_str(&format!(" × price × {counted_in}, rounded"));
    inputs.push(money("price", price, component.price_source.clone()));
    inputs.push(Figure::exact(counted_in, recurring, "", Source::Computed));
    let amount = used.checked_mul(recurring).ok_or(QuoteFault::TooLarge)?;
    let cost = rounded(times(price, amount)?)?;
    working.step(
        formula,
        inputs,
        money(format!("cost of {}", component.name), cost, Source::Computed),
    );
    Ok(cost)
}
