//! From an order's lines, the day's prices and the owner's inputs to a priced quote.

use foundry::quantity::{Currency, Money};
use foundry::quote::{
    Discount, Margin, Percent, PriceBy, QuoteInput, QuoteLine, Rounding, Tax, price,
};
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use sqlx::PgPool;

use super::abroad;
use super::choices::{Choice, OptionSpec};
use super::content::{Amounts, Break, Content, Exchange, Line, LineTax, Unpriced, by_tax};
use super::defaults::Shop;
use super::electricity;
use super::inputs::Inputs;
use super::missing::{Missing, notes, sentence};
use super::totals::Totals;
use super::words::AS_CAST;
use super::work::{PartOfOrder, in_number};
use super::workshop::{Workshop, kept_beside, kept_line};
use crate::clock::Day;
use crate::json::working::WorkingJson;
use crate::orders::{self, LineRow, Order, OrderRow};
use crate::prices::DayPrices;
use crate::studio::Settings;
use crate::web::Fault;

/// Prices an order as it stands, with the options beside it; the inner error says what is missing.
pub(super) async fn reckon(
    pool: &PgPool,
    order: &OrderRow,
    shop: &Shop,
    settings: &Settings,
    inputs: Inputs,
    today: Day,
) -> Result<Result<Content, Vec<Missing>>, Fault> {
    let rows = orders::lines(pool, order.id).await?;
    let mut alloys: Vec<_> = rows.iter().map(|row| row.alloy_id).collect();
    alloys.extend(inputs.options.iter().filter_map(|option| option.alloy));
    let by_tariff = async {
        match inputs.kiln {
            Some(_) => electricity::by_tariff(pool, settings, today).await,
            None => Ok(None),
        }
    };
    let prices = DayPrices::load(pool, today, &settings.currency, &alloys);
    let (prices, electricity) = tokio::try_join!(prices, by_tariff)?;
    let code = inputs.abroad.as_ref().map_or(settings.currency.as_str(), |abroad| &abroad.currency);
    let known = Currency::by_code(&settings.currency)
        .and_then(|own| Currency::by_code(code).map(|currency| (own, currency)));
    let (own, currency) = match known {
        Ok(both) => both,
        Err(why) => {
            let place = "/studio".to_owned();
            let what = sentence(&why.to_string());
            return Ok(Err(vec![Missing { what, place, place_name: "Studio" }]));
        }
    };
    let number = order.number;
    let prices = &prices;
    let workshop =
        Workshop { shop, settings, prices, currency, own, inputs: &inputs, electricity, number };
    let asked = match workshop.priced_order(&rows, true) {
        Ok(asked) => asked,
        Err(missing) => return Ok(Err(missing)),
    };
    let mut options = Vec::new();
    for spec in &inputs.options {
        let rows = match changed(&rows, spec, shop) {
            Ok(rows) => rows,
            Err(missing) => return Ok(Err(vec![missing])),
        };
        match workshop.priced_order(&rows, false) {
            // What the order as asked can be priced without, so can another way.
            Ok(priced) if priced.missing.len() <= asked.missing.len() => {
                options.push(priced.into_choice(spec.clone()));
            }
            Ok(Priced { missing, .. }) | Err(missing) => return Ok(Err(missing)),
        }
    }
    let mut notes = notes(settings, &inputs, &asked.warnings);
    notes.extend(abroad::other_rate(pool, &inputs, own.code(), today).await?);
    for line in asked.lines.iter().filter(|line| line.as_cast) {
        notes.push(format!(
            "No finishing is charged for {}, so the client reads “{AS_CAST}”. If it is finished, type its minutes on the order.",
            line.name
        ));
    }
    for option in &options {
        if option.totals.earned.is_sign_negative() {
            notes.push(format!("“{}” is offered below its cost.", option.name));
        }
    }
    Ok(Ok(Content {
        currency: currency.code().to_owned(),
        exchange: inputs.abroad.as_ref().map(|abroad| Exchange {
            from: own.code().to_owned(),
            rate: abroad.rate,
            on: abroad.on,
        }),
        tax_name: workshop.tax().0.to_owned(),
        tax_percent: (workshop.tax().1 * Decimal::ONE_HUNDRED).normalize(),
        tax_inclusive: workshop.tax().2,
        tax_on_total: shop.rules.rounding == "total",
        lines: asked.lines,
        unpriced: asked.missing.into_iter().map(Unpriced::from).collect(),
        totals: asked.totals,
        deposit: asked.deposit,
        balance: asked.balance,
        working: asked.working,
        notes,
        metal_rule: inputs.metal_rule,
        options,
        asked_name: inputs.asked_name.clone(),
        chosen: None,
        inputs,
    }))
}

/// The lines of an order as an option changes them.
fn changed(rows: &[LineRow], spec: &OptionSpec, shop: &Shop) -> Result<Vec<LineRow>, Missing> {
    let alloy = match spec.alloy {
        None => None,
        Some(id) => {
            Some(shop.alloys.iter().find(|alloy| alloy.id == id).ok_or_else(|| Missing {
                what: format!("The alloy of “{}” is not in use any more.", spec.name),
                place: "/studio/alloys".to_owned(),
                place_name: "Alloys",
            })?)
        }
    };
    Ok(rows
        .iter()
        .map(|row| {
            let mut row = row.clone();
            if let Some(alloy) = alloy {
                row.alloy_id = alloy.id;
                row.alloy.clone_from(&alloy.name);
                row.density_g_cm3 = alloy.density_g_cm3;
                row.density_source.clone_from(&alloy.source);
            }
            if spec.as_cast {
                row.finishing_minutes = 0;
            }
            row
        })
        .collect())
}

/// An order priced one way.
struct Priced {
    lines: Vec<Line>,
    totals: Amounts,
    deposit: Decimal,
    balance: Decimal,
    working: WorkingJson,
    warnings: Vec<String>,
    /// Why lines are not among them.
    missing: Vec<Missing>,
}

impl Priced {
    fn into_choice(self, spec: OptionSpec) -> Choice {
        Choice {
            name: spec.name.clone(),
            lines: self.lines,
            totals: self.totals,
            deposit: self.deposit,
            balance: self.balance,
            working: self.working,
            spec,
        }
    }
}

/// What a piece or a line costs is shown for these numbers beside the number asked for.
const BREAKS: [u32; 6] = [1, 2, 5, 10, 25, 50];

impl Workshop<'_> {
    /// Prices the rows that can be priced and tells why others cannot; refuses when none can.
    /// Breaks are worked out when they are wanted.
    fn priced_order(&self, rows: &[LineRow], breaks: bool) -> Result<Priced, Vec<Missing>> {
        let mut missing = Vec::new();
        if rows.is_empty() {
            let place = Order(self.number).to_string();
            let what = "There is nothing on the order that could be priced.".to_owned();
            missing.push(Missing { what, place, place_name: "The order" });
        }
        let pieces = |row: &LineRow| u32::try_from(row.quantity).unwrap_or(0);
        let all = rows.iter().map(pieces).sum();
        let (mut reckoned, mut unpriced) = (Vec::new(), Vec::new());
        for row in rows {
            match self.line(row, PartOfOrder { pieces: pieces(row), all }) {
                Ok(line) => reckoned.push((row, line)),
                Err(more) => unpriced.extend(more),
            }
        }
        unpriced.dedup();
        if reckoned.is_empty() {
            missing.append(&mut unpriced);
        }
        for bought in self.inputs.all_bought() {
            if bought.line.is_some_and(|n| !rows.iter().any(|row| row.n == n)) {
                let place = Order(self.number).to_string();
                let what = format!(
                    "“{}” is bought in for a line that is not on the order any more; choose another line for it.",
                    bought.name
                );
                missing.push(Missing { what, place, place_name: "The order" });
            }
        }
        let shop = self.shop;
        let no_tax = |id| !shop.taxes.iter().any(|tax| tax.id == id);
        if self.inputs.tax.is_some_and(no_tax) {
            let what = "the tax of this quote is not in use any more; choose another";
            missing.push(Missing::rule(what));
        }
        for row in rows {
            let own = self.inputs.line_taxes.iter().find(|(n, _)| *n == row.n);
            if own.is_some_and(|(_, id)| no_tax(*id)) {
                missing.push(Missing::rule(&format!(
                    "the tax of {} is not in use any more; choose another",
                    row.design
                )));
            }
        }
        let known = |task| shop.tasks.iter().any(|known| known.id == task);
        if self.inputs.tasks.iter().any(|spec| !known(spec.task)) {
            let what = "a task of this quote is not in use any more; choose another";
            missing.push(Missing::rule(what));
        }
        missing.dedup();
        if !missing.is_empty() {
            return Err(missing);
        }
        let beside = self.beside();
        let mut priceable: Vec<QuoteLine> =
            reckoned.iter().map(|(_, each)| each.line.clone()).collect();
        priceable.extend(beside.iter().map(|(line, _)| line.clone()));
        let input = self.input(priceable);
        let place = Order(self.number).to_string();
        let priced = price(&input).map_err(|refusal| {
            let faults = refusal.faults.iter();
            faults
                .map(|fault| Missing {
                    what: sentence(&fault.to_string()),
                    place: place.clone(),
                    place_name: "The order",
                })
                .collect::<Vec<_>>()
        })?;
        let quote = &priced.value;
        let mut priced_lines = quote.lines.iter();
        let mut lines: Vec<Line> = reckoned
            .into_iter()
            .zip(priced_lines.by_ref())
            .map(|((row, each), priced)| {
                let breaks = if breaks { self.breaks(&each.line) } else { Vec::new() };
                kept_line(row, each, priced, breaks, self.inputs)
            })
            .collect();
        let beside = beside.iter().zip(priced_lines);
        lines.extend(beside.map(|((_, conversions), priced)| kept_beside(conversions, priced)));
        let mut totals = Amounts::from(&quote.totals);
        let (mut deposit, mut balance) = (quote.deposit.amount(), quote.balance.amount());
        if let Some(more) = self.up_to_least(&totals) {
            totals = totals.plus(&more.amounts);
            lines.push(more);
            let share = self.inputs.deposit_percent * Decimal::new(1, 2);
            deposit = Money::new(totals.gross * share, self.currency).rounded().amount();
            balance = totals.gross - deposit;
        }
        let (name, rate, _) = self.tax();
        let own =
            LineTax { name: name.to_owned(), percent: (rate * Decimal::ONE_HUNDRED).normalize() };
        let taxes = by_tax(&lines, |line| line.tax.clone().unwrap_or_else(|| own.clone()));
        let steps = Totals {
            lines: &lines,
            totals: &totals,
            taxes: &taxes,
            deposit_percent: Some(self.inputs.deposit_percent),
            deposit,
            balance,
            currency: self.currency.code(),
        };
        let working = WorkingJson::from(&steps.working());
        Ok(Priced {
            lines,
            totals,
            deposit,
            balance,
            working,
            warnings: priced.working.warnings.iter().map(ToString::to_string).collect(),
            missing: unpriced,
        })
    }

    /// What is missing to the least that an order is worth, as a line with its tax.
    fn up_to_least(&self, totals: &Amounts) -> Option<Line> {
        let least = self.shop.rules.least_net * self.rate();
        let net = Money::new(least - totals.net, self.currency).rounded();
        if net.amount() <= Decimal::ZERO {
            return None;
        }
        let (_, rate, inclusive) = self.tax();
        let tax = Money::new(net.amount() * rate, self.currency).rounded().amount();
        let gross = net.amount() + tax;
        let mut working = Working::default();
        let figure = |name: &'static str, amount: Decimal| {
            Figure::exact(name, amount, self.currency.code().to_owned(), Source::Entered)
        };
        working.step(
            "least of an order − net of its lines, rounded",
            vec![figure("least of an order", least), figure("net of its lines", totals.net)],
            figure("up to the least", net.amount()),
        );
        let list = if inclusive { gross } else { net.amount() };
        let amounts = Amounts::extra(list, net.amount(), tax, net.amount());
        Some(Line::extra("up to the least of an order", amounts, &working))
    }

    /// The tax of this quote: its name, its rate, and whether prices contain it.
    pub(super) fn tax(&self) -> (&str, Decimal, bool) {
        let other = self.shop.taxes.iter().find(|tax| Some(tax.id) == self.inputs.tax);
        match other {
            Some(tax) => (tax.name.as_str(), tax.rate, tax.inclusive),
            None => {
                let own = self.settings;
                (own.tax_name.as_str(), own.tax_rate, own.tax_inclusive)
            }
        }
    }

    /// The quote of some lines under the studio's and the owner's rules.
    fn input(&self, lines: Vec<QuoteLine>) -> QuoteInput {
        let (inputs, rules) = (self.inputs, &self.shop.rules);
        let (_, rate, inclusive) = self.tax();
        let tax = Percent(rate * Decimal::ONE_HUNDRED);
        QuoteInput {
            currency: self.currency,
            lines,
            overhead: Percent(inputs.overhead_percent),
            margin: Margin::OfNetPrice(Percent(inputs.margin_percent)),
            price_by: if rules.price_by == "line" { PriceBy::Line } else { PriceBy::Piece },
            discount: if inputs.discount_percent.is_zero() {
                Discount::None
            } else {
                Discount::Share(Percent(inputs.discount_percent))
            },
            tax: if inclusive { Tax::Inclusive(tax) } else { Tax::Exclusive(tax) },
            rounding: if rules.rounding == "total" { Rounding::OnTotal } else { Rounding::PerLine },
            deposit: Percent(inputs.deposit_percent),
        }
    }

    /// The price in other numbers, by pricing the line anew: what comes once is
    /// shared by more pieces, a plate and a flask are shared as before.
    fn breaks(&self, line: &QuoteLine) -> Vec<Break> {
        let mut breaks = Vec::new();
        for quantity in BREAKS.into_iter().filter(|n| *n != line.quantity) {
            let other = in_number(line, quantity);
            let Ok(priced) = price(&self.input(vec![other])) else { continue };
            let Some(line) = priced.value.lines.first() else { continue };
            breaks.push(Break {
                quantity,
                unit_price: line.unit_price.map(|unit| unit.amount()),
                together: Some(line.amounts.list.amount()),
                working: WorkingJson::from(&up_to_price(&line.working)),
            });
        }
        breaks
    }
}

/// The part of a line's working that is new in another number: what does not simply come with
/// each piece, and how the price, of a piece or of the line, follows from the sum. That names
/// every cost.
fn up_to_price(whole: &Working) -> Working {
    let mut part = Working::default();
    for step in &whole.steps {
        let with_each = step.inputs.last().is_some_and(|input| input.name == "pieces made");
        if !(with_each && step.result.name.starts_with("cost of ")) {
            part.steps.push(step.clone());
        }
        if matches!(step.result.name.as_ref(), "price of a piece" | "price of the line") {
            break;
        }
    }
    part
}
