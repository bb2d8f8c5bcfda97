//! From an order's lines, the day's prices and the owner's inputs to a priced quote.

use foundry::quantity::{Currency, Money};
use foundry::quote::{
    Discount, Margin, Percent, PriceBy, QuoteInput, QuoteLine, Rounding, Tax, price,
};
use foundry::source::Source;
use foundry::working::{Figure, Working};
use rust_decimal::Decimal;
use sqlx::PgPool;

use super::choices::{Choice, OptionSpec};
use super::content::{Amounts, Break, Content, Exchange, Line};
use super::defaults::Shop;
use super::inputs::Inputs;
use super::workshop::{Workshop, kept_line};
use crate::clock::Day;
use crate::json::working::WorkingJson;
use crate::orders::{self, LineRow, Order, OrderRow};
use crate::prices::DayPrices;
use crate::studio::Settings;
use crate::web::Fault;

/// Something without which no price can be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Missing {
    /// A whole sentence.
    pub(super) what: String,
    /// Where it is put right.
    pub(super) place: String,
    /// What that place is called.
    pub(super) place_name: &'static str,
}

impl Missing {
    fn rule(what: &str) -> Self {
        let place = "/prices/rules".to_owned();
        Self { what: sentence(what), place, place_name: "Rules of the price book" }
    }

    pub(super) fn price(what: String) -> Self {
        Self { what: sentence(&what), place: "/prices".to_owned(), place_name: "Prices" }
    }
}

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
    let prices = DayPrices::load(pool, today, &settings.currency, &alloys).await?;
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
    let workshop = Workshop { shop, settings, prices: &prices, currency, own, inputs: &inputs };
    let asked = match workshop.priced_order(order.number, &rows, true) {
        Ok(asked) => asked,
        Err(missing) => return Ok(Err(missing)),
    };
    let mut options = Vec::new();
    for spec in &inputs.options {
        let rows = match changed(&rows, spec, shop) {
            Ok(rows) => rows,
            Err(missing) => return Ok(Err(vec![missing])),
        };
        match workshop.priced_order(order.number, &rows, false) {
            Ok(priced) => options.push(priced.into_choice(spec.clone())),
            Err(missing) => return Ok(Err(missing)),
        }
    }
    let mut notes = notes(settings, &inputs, &asked.warnings);
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

/// What a piece costs is shown for these numbers beside the number asked for.
const BREAKS: [u32; 6] = [1, 2, 5, 10, 25, 50];

impl Workshop<'_> {
    /// Prices the rows; breaks are worked out when they are wanted.
    fn priced_order(
        &self,
        number: i32,
        rows: &[LineRow],
        breaks: bool,
    ) -> Result<Priced, Vec<Missing>> {
        let mut missing = Vec::new();
        if rows.is_empty() {
            let place = Order(number).to_string();
            let what = "There is nothing on the order that could be priced.".to_owned();
            missing.push(Missing { what, place, place_name: "The order" });
        }
        let mut reckoned = Vec::new();
        for (at, row) in rows.iter().enumerate() {
            match self.line(row, at == 0) {
                Ok(line) => reckoned.push(line),
                Err(more) => missing.extend(more),
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
        let input = self.input(reckoned.iter().map(|each| each.line.clone()).collect());
        let place = Order(number).to_string();
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
        let lines = rows.iter().zip(reckoned).zip(&quote.lines);
        let lines = lines
            .map(|((row, each), priced)| {
                let breaks = if breaks { self.breaks(&each.line) } else { Vec::new() };
                kept_line(row, each, priced, breaks)
            })
            .collect();
        let mut lines: Vec<Line> = lines;
        let mut totals = Amounts::from(&quote.totals);
        let (mut deposit, mut balance) = (quote.deposit.amount(), quote.balance.amount());
        if let Some(more) = self.up_to_least(&totals) {
            totals = totals.plus(&more.amounts);
            lines.push(more);
            let share = self.inputs.deposit_percent * Decimal::new(1, 2);
            deposit = Money::new(totals.gross * share, self.currency).rounded().amount();
            balance = totals.gross - deposit;
        }
        Ok(Priced {
            lines,
            totals,
            deposit,
            balance,
            working: WorkingJson::from(&priced.working),
            warnings: priced.working.warnings.iter().map(ToString::to_string).collect(),
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

    /// The price of a piece in other numbers, by pricing the line anew: what comes once is
    /// shared by more pieces, a plate and a flask are shared as before.
    fn breaks(&self, line: &QuoteLine) -> Vec<Break> {
        let mut breaks = Vec::new();
        for quantity in BREAKS.into_iter().filter(|n| *n != line.quantity) {
            let other = QuoteLine { quantity, ..line.clone() };
            let Ok(priced) = price(&self.input(vec![other])) else { continue };
            let Some(line) = priced.value.lines.first() else { continue };
            if let Some(unit) = line.unit_price {
                let working = WorkingJson::from(&up_to_piece(&line.working));
                breaks.push(Break { quantity, unit_price: unit.amount(), working });
            }
        }
        breaks
    }
}

/// The part of a line's working that is new in another number: what does not simply come with
/// each piece, and how the price of a piece follows from the sum. That names every cost.
fn up_to_piece(whole: &Working) -> Working {
    let mut part = Working::default();
    for step in &whole.steps {
        let with_each = step.inputs.last().is_some_and(|input| input.name == "pieces made");
        if !(with_each && step.result.name.starts_with("cost of ")) {
            part.steps.push(step.clone());
        }
        if step.result.name == "price of a piece" {
            break;
        }
    }
    part
}

/// What the owner should know before sending it.
fn notes(settings: &Settings, inputs: &Inputs, warnings: &[String]) -> Vec<String> {
    let mut notes = warnings.to_vec();
    let mut note = |when: bool, what: &str| {
        if when {
            notes.push(what.to_owned());
        }
    };
    note(
        settings.bench_rate.is_zero(),
        "An hour at the bench costs nothing in the studio's settings.",
    );
    note(
        settings.finishing_rate.is_zero(),
        "An hour of finishing costs nothing in the studio's settings.",
    );
    note(inputs.resin.is_none(), "No resin is charged.");
    note(inputs.investment.is_none(), "No investment is charged.");
    note(inputs.kiln.is_none(), "No kiln is charged.");
    note(
        inputs.investment.is_some() && inputs.powder_kg.is_zero(),
        "No powder is charged: the weight for a flask is 0 kg.",
    );
    note(
        !inputs.own_lines.is_empty(),
        "The client brings metal: sprues and button have to be brought as well, and go back to them.",
    );
    notes
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().into_iter().flat_map(char::to_uppercase).collect();
    let rest = chars.as_str();
    let stop = if rest.ends_with('.') { "" } else { "." };
    format!("{first}{rest}{stop}")
}
