//! From an order's lines, the day's prices and the owner's inputs to a priced quote.

use foundry::plate::{LayerTimes, print_run};
use foundry::quantity::{Currency, Millimetres, Money, Seconds};
use foundry::quote::{
    Billed, Component, CostKind, Discount, Margin, MetalPrice, Percent, PriceBy, QuoteInput,
    QuoteLine, Recurs, Rounding, Tax, measured, price,
};
use foundry::source::Source;
use foundry::working::Worked;
use rust_decimal::Decimal;
use sqlx::PgPool;

use super::content::{Amounts, Content, Cost, Line};
use super::defaults::{Printer, Shop};
use super::inputs::Inputs;
use crate::clock::Day;
use crate::designs::{self, Design};
use crate::json::working::WorkingJson;
use crate::orders::{self, LineRow, Order, OrderRow};
use crate::prices::{DayPrice, DayPrices, PriceKind};
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
    fn price(what: String) -> Self {
        Self { what: sentence(&what), place: "/prices".to_owned(), place_name: "Prices" }
    }
}

/// What holds a pattern above the plate. Common practice, no source.
const RAISED_MM: f64 = 5.0;

/// Prices an order as it stands; the inner error says what is missing.
pub(super) async fn reckon(
    pool: &PgPool,
    order: &OrderRow,
    shop: &Shop,
    settings: &Settings,
    inputs: Inputs,
    today: Day,
) -> Result<Result<Content, Vec<Missing>>, Fault> {
    let rows = orders::lines(pool, order.id).await?;
    let alloys: Vec<_> = rows.iter().map(|row| row.alloy_id).collect();
    let prices = DayPrices::load(pool, today, &settings.currency, &alloys).await?;
    let currency = match Currency::by_code(&settings.currency) {
        Ok(currency) => currency,
        Err(why) => {
            let place = "/studio".to_owned();
            let what = sentence(&why.to_string());
            return Ok(Err(vec![Missing { what, place, place_name: "Studio" }]));
        }
    };
    let workshop = Workshop { shop, settings, prices: &prices, currency, inputs: &inputs };
    let mut missing = Vec::new();
    if rows.is_empty() {
        let place = Order(order.number).to_string();
        let what = "There is nothing on the order that could be priced.".to_owned();
        missing.push(Missing { what, place, place_name: "The order" });
    }
    let mut lines = Vec::new();
    let mut weights = Vec::new();
    for (at, row) in rows.iter().enumerate() {
        match workshop.line(row, at == 0) {
            Ok((line, weight)) => {
                lines.push(line);
                weights.push(weight);
            }
            Err(more) => missing.extend(more),
        }
    }
    missing.dedup();
    if !missing.is_empty() {
        return Ok(Err(missing));
    }
    let tax = Percent(settings.tax_rate * Decimal::ONE_HUNDRED);
    let input = QuoteInput {
        currency,
        lines,
        overhead: Percent(inputs.overhead_percent),
        margin: Margin::OfNetPrice(Percent(inputs.margin_percent)),
        price_by: PriceBy::Piece,
        discount: if inputs.discount_percent.is_zero() {
            Discount::None
        } else {
            Discount::Share(Percent(inputs.discount_percent))
        },
        tax: if settings.tax_inclusive { Tax::Inclusive(tax) } else { Tax::Exclusive(tax) },
        rounding: Rounding::PerLine,
        deposit: Percent(inputs.deposit_percent),
    };
    let place = Order(order.number).to_string();
    Ok(match price(&input) {
        Ok(priced) => {
            let notes = notes(settings, &inputs, &priced);
            Ok(content(settings, inputs, &rows, weights, &priced, notes))
        }
        Err(refusal) => Err(refusal
            .faults
            .iter()
            .map(|fault| Missing {
                what: sentence(&fault.to_string()),
                place: place.clone(),
                place_name: "The order",
            })
            .collect()),
    })
}

struct Workshop<'a> {
    shop: &'a Shop,
    settings: &'a Settings,
    prices: &'a DayPrices,
    currency: Currency,
    inputs: &'a Inputs,
}

type Weight = Worked<foundry::quantity::Grams>;

impl Workshop<'_> {
    fn money(&self, amount: Decimal) -> Option<Money> {
        Some(Money::new(amount, self.currency))
    }

    fn priced(&self, component: Component, price: DayPrice) -> Component {
        Component { price: self.money(price.amount), price_source: price.source, ..component }
    }

    /// A line with all its costs, and the weight of a piece.
    fn line(&self, row: &LineRow, first: bool) -> Result<(QuoteLine, Weight), Vec<Missing>> {
        let inputs = self.inputs;
        let design = |what: &str| {
            vec![Missing {
                what: format!("{} {what}", row.design),
                place: Design(row.design_number).to_string(),
                place_name: "The design",
            }]
        };
        if !row.size_known {
            return Err(design(
                "has no size yet: its file does not say in which unit it is drawn.",
            ));
        }
        let Some(volume_mm3) = row.volume_mm3 else {
            return Err(design("has no weight, because its surface is open."));
        };
        let weight = designs::weigh(volume_mm3, row.density_g_cm3, &row.density_source)
            .map_err(|why| design(&format!("cannot be weighed: {why}.")))?;
        let large = || design("is too large to be priced.");
        let grams = measured(weight.value.get(), 4).ok_or_else(large)?;
        let volume_ml = measured(volume_mm3 / 1000.0, 4).ok_or_else(large)?;

        let mut missing = Vec::new();
        let mut components = Vec::new();
        let mut add = |component: Component, price: Result<DayPrice, String>| match price {
            Ok(price) => components.push(self.priced(component, price)),
            Err(what) => missing.push(Missing::price(what)),
        };
        let loss = Percent(inputs.metal_loss_percent);
        let metal = Component::metal(row.alloy.clone(), grams, MetalPrice::Alloy(None), loss);
        add(metal, self.prices.alloy(row.alloy_id, &row.alloy));
        if let Some((id, name)) = self.shop.resins.iter().find(|(id, _)| Some(*id) == inputs.resin)
        {
            let with_supports = Decimal::ONE + inputs.supports_percent * Decimal::new(1, 2);
            let resin =
                Component::resin(volume_ml, None).with_factor(foundry::quote::Factor::Times {
                    name: "1 + supports".into(),
                    value: with_supports,
                });
            add(resin, self.prices.of(PriceKind::Resin, &id.to_string(), name));
        }
        if let Some(powder) =
            self.shop.investments.iter().find(|powder| Some(powder.id) == inputs.investment)
        {
            let part = Component::investment(
                inputs.powder_kg,
                None,
                inputs.pieces_in_flask,
                Billed::Share,
            );
            add(part, self.prices.of(PriceKind::Investment, &powder.id.to_string(), &powder.name));
        }
        let kiln = self.shop.kilns.iter().find(|kiln| Some(kiln.id) == inputs.kiln);
        if let Some(kiln) = kiln {
            let recurs = Recurs::PerLoad {
                pieces_per_batch: inputs.pieces_in_flask,
                batches_per_load: inputs.flasks_in_load,
                billed: Billed::Share,
            };
            let rate = self.money(kiln.hour_rate);
            let [energy, hours] =
                Component::kiln(inputs.kiln_kwh, None, inputs.kiln_hours, rate, recurs);
            add(energy, self.prices.of(PriceKind::Electricity, "", "electricity"));
            components.push(hours);
        }
        let printer = self.shop.printers.iter().find(|printer| Some(printer.id) == inputs.printer);
        if let Some(printer) = printer {
            let hours = print_hours(printer, row.box_z_mm).ok_or_else(large)?;
            let rate = self.money(printer.hour_rate);
            let plate = inputs.pieces_on_plate;
            components.push(Component::printer_hours(hours, rate, plate, Billed::Share));
        }
        if !missing.is_empty() {
            return Err(missing);
        }
        self.add_work(row, first, &mut components);
        let line = QuoteLine {
            name: row.design.clone().into(),
            quantity: u32::try_from(row.quantity).unwrap_or(0),
            spares: inputs.spares,
            components,
        };
        Ok((line, weight))
    }

    /// Minutes at the bench, and what comes once for the order with its first line.
    fn add_work(&self, row: &LineRow, first: bool, components: &mut Vec<Component>) {
        let bench = self.money(self.settings.bench_rate);
        let finishing = self.money(self.settings.finishing_rate);
        let minutes = |kind, name: &'static str, minutes: i64, rate, recurs| {
            Component::minutes(kind, name, Decimal::from(minutes), rate, recurs)
        };
        let each = Recurs::PerPiece;
        let at_bench = i64::from(self.inputs.bench_minutes);
        components.push(minutes(CostKind::Bench, "bench", at_bench, bench, each));
        let by_hand = i64::from(row.finishing_minutes);
        components.push(minutes(CostKind::Finishing, "finishing", by_hand, finishing, each));
        if !first {
            return;
        }
        let set_up = i64::from(self.inputs.set_up_minutes);
        let name = "set-up of the order";
        components.push(minutes(CostKind::SetUp, name, set_up, bench, Recurs::Once));
        if !self.inputs.extra_amount.is_zero() {
            let name = match self.inputs.extra_name.as_str() {
                "" => "extra",
                name => name,
            };
            let price = self.money(self.inputs.extra_amount);
            let name = name.to_owned();
            let kind = CostKind::BoughtIn;
            components.push(Component::new(kind, name, Decimal::ONE, "×", price, Recurs::Once));
        }
    }
}

/// Hours of the printer for a plate as high as the piece.
fn print_hours(printer: &Printer, height_mm: f64) -> Option<Decimal> {
    let times = LayerTimes {
        layer: Millimetres::new(f64::from(printer.layer_um) / 1000.0).ok()?,
        exposure: Seconds::new(printer.exposure_s).ok()?,
        bottom_layers: u32::try_from(printer.bottom_layers).ok()?,
        bottom_exposure: Seconds::new(printer.bottom_exposure_s).ok()?,
        transition_layers: 0,
        movement: Seconds::new(printer.lift_s).ok()?,
        source: Source::Entered,
    };
    let run = print_run(Millimetres::new(height_mm + RAISED_MM).ok()?, &times).ok()?;
    measured(run.value.duration.get() / 60.0, 3)
}

/// What the owner should know before sending it.
fn notes(
    settings: &Settings,
    inputs: &Inputs,
    priced: &Worked<foundry::quote::Quote>,
) -> Vec<String> {
    let mut notes: Vec<String> = priced.working.warnings.iter().map(ToString::to_string).collect();
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
    notes
}

fn content(
    settings: &Settings,
    inputs: Inputs,
    rows: &[LineRow],
    weights: Vec<Weight>,
    priced: &Worked<foundry::quote::Quote>,
    notes: Vec<String>,
) -> Content {
    let quote = &priced.value;
    let lines = rows
        .iter()
        .zip(weights)
        .zip(&quote.lines)
        .map(|((row, weight), line)| Line {
            n: row.n,
            name: row.design.clone(),
            alloy: row.alloy.clone(),
            picture: row.picture_id,
            quantity: line.quantity,
            weight_g: weight.value.get(),
            weight: WorkingJson::from(&weight.working),
            components: line
                .components
                .iter()
                .map(|part| Cost {
                    kind: part.kind.name().to_owned(),
                    name: part.name.to_string(),
                    cost: part.cost.amount(),
                })
                .collect(),
            amounts: Amounts::from(&line.amounts),
            unit_price: line.unit_price.map(|price| price.amount()),
            working: WorkingJson::from(&line.working),
        })
        .collect();
    Content {
        inputs,
        currency: settings.currency.clone(),
        tax_name: settings.tax_name.clone(),
        tax_percent: (settings.tax_rate * Decimal::ONE_HUNDRED).normalize(),
        tax_inclusive: settings.tax_inclusive,
        lines,
        totals: Amounts::from(&quote.totals),
        deposit: quote.deposit.amount(),
        balance: quote.balance.amount(),
        working: WorkingJson::from(&priced.working),
        notes,
    }
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().into_iter().flat_map(char::to_uppercase).collect();
    let rest = chars.as_str();
    let stop = if rest.ends_with('.') { "" } else { "." };
    format!("{first}{rest}{stop}")
}
