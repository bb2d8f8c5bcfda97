//! What goes into the price of one line: metal, materials, machines and work.

use foundry::plate::{LayerTimes, print_run};
use foundry::quantity::{Currency, Grams, Millimetres, Money, Seconds};
use foundry::quote::{
    Billed, Component, CostKind, Factor, MetalPrice, Percent, PricedLine, QuoteLine, Recurs,
    TaxClass, measured,
};
use foundry::source::Source;
use foundry::working::{Figure, Worked, Working};
use rust_decimal::Decimal;

use super::content::{Amounts, Break, Cost, Line, LineTax};
use super::defaults::{Printer, Shop};
use super::inputs::Inputs;
use super::missing::Missing;
use super::work::PartOfOrder;
use crate::designs::{self, Design};
use crate::json::working::WorkingJson;
use crate::orders::{LineRow, Order};
use crate::prices::{DayPrice, DayPrices, PriceKind};
use crate::studio::Settings;

/// What holds a pattern above the plate. Common practice, no source.
const RAISED_MM: f64 = 5.0;

/// What goes into the price of a line, and what is said beside it.
pub(super) struct Reckoned {
    pub(super) line: QuoteLine,
    pub(super) weight: Weight,
    /// Metal charged for the line in grams, and what a gram costs.
    pub(super) metal: (Decimal, Decimal),
    /// What the client brings, in grams.
    pub(super) own_g: Decimal,
    /// Prices in the currency of the quote, when that is not the studio's.
    pub(super) conversions: Working,
}

/// The studio as a price sees it.
pub(super) struct Workshop<'a> {
    pub(super) shop: &'a Shop,
    pub(super) settings: &'a Settings,
    pub(super) prices: &'a DayPrices,
    /// The currency of the quote.
    pub(super) currency: Currency,
    /// The studio's currency.
    pub(super) own: Currency,
    pub(super) inputs: &'a Inputs,
    /// A kilowatt hour by the tariff, where one is noted.
    pub(super) electricity: Option<DayPrice>,
    /// Of the order.
    pub(super) number: i32,
}

type Weight = Worked<Grams>;

impl Workshop<'_> {
    pub(super) fn money(&self, amount: Decimal) -> Option<Money> {
        Some(Money::new(amount, self.own))
    }

    /// How much of the quote's currency one unit of the studio's buys.
    pub(super) fn rate(&self) -> Decimal {
        self.inputs.abroad.as_ref().map_or(Decimal::ONE, |abroad| abroad.rate)
    }

    /// Puts the prices of components into the currency of the quote, and says how.
    pub(super) fn convert(&self, components: &mut [Component]) -> Working {
        let mut working = Working::default();
        let Some(abroad) = &self.inputs.abroad else { return working };
        for component in components {
            let Some(price) = component.price else { continue };
            let converted = Money::new(price.amount() * abroad.rate, self.currency);
            let of = |money: Money, source| {
                let unit = money.currency().code().to_owned();
                Figure::exact(format!("price of {}", component.name), money.amount(), unit, source)
            };
            let day = Source::Assumed(format!("the rate of {}", abroad.on).into());
            let unit = format!("{}/{}", abroad.currency, self.own.code());
            working.step(
                "price × rate",
                vec![
                    of(price, component.price_source.clone()),
                    Figure::exact("rate", abroad.rate, unit, day),
                ],
                of(converted, Source::Computed),
            );
            component.price = Some(converted);
            component.price_source = Source::Computed;
        }
        working
    }

    fn priced(&self, component: Component, price: DayPrice) -> Component {
        Component { price: self.money(price.amount), price_source: price.source, ..component }
    }

    /// The tax of a line, when it is not that of the quote.
    pub(super) fn line_tax(&self, n: i32) -> Option<LineTax> {
        let (_, id) = self.inputs.line_taxes.iter().find(|(line, _)| *line == n)?;
        let tax = self.shop.taxes.iter().find(|tax| tax.id == *id)?;
        let percent = (tax.rate * Decimal::ONE_HUNDRED).normalize();
        let (name, rate, _) = self.tax();
        let own = name == tax.name && rate == tax.rate;
        (!own).then(|| LineTax { name: tax.name.clone(), percent })
    }

    /// A line with all its costs, and the weight of a piece.
    pub(super) fn line(&self, row: &LineRow, part: PartOfOrder) -> Result<Reckoned, Vec<Missing>> {
        let inputs = self.inputs;
        let design = |what: &str| {
            let what = format!("{} {what}", row.design);
            // What is amiss with an older version may be put right in the newest already.
            vec![if row.versions > row.version_n {
                let more = "There is a newer version of it: choose that on its line of the order.";
                let place = Order(self.number).to_string();
                Missing { what: format!("{what} {more}"), place, place_name: "The order" }
            } else {
                let place = Design(row.design_number).to_string();
                Missing { what, place, place_name: "The design" }
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
        let made = Decimal::from(row.quantity) + Decimal::from(inputs.spares);
        let with_loss = grams
            .checked_div(Decimal::ONE - loss.factor())
            .and_then(|each| each.checked_mul(made))
            .ok_or_else(large)?
            .round_dp(4);
        let own = inputs.own_lines.contains(&row.n);
        let mut metal_price = Decimal::ZERO;
        if !own {
            let metal = Component::metal(row.alloy.clone(), grams, MetalPrice::Alloy(None), loss);
            let price = self.prices.alloy(row.alloy_id, &row.alloy);
            metal_price = price.as_ref().map(|price| price.amount).unwrap_or_default();
            add(metal, price);
        }
        let (metal_g, own_g) =
            if own { (Decimal::ZERO, with_loss) } else { (with_loss, Decimal::ZERO) };
        if let Some((id, name)) = self.shop.resins.iter().find(|(id, _)| Some(*id) == inputs.resin)
        {
            let with_supports = Decimal::ONE + inputs.supports_percent * Decimal::new(1, 2);
            let resin = Component::resin(volume_ml, None)
                .with_factor(Factor::Times { name: "1 + supports".into(), value: with_supports });
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
            let kwh = match &self.electricity {
                Some(by_tariff) => Ok(by_tariff.clone()),
                None => self.prices.of(PriceKind::Electricity, "", "electricity"),
            };
            add(energy, kwh);
            if !inputs.gas_kg.is_zero() {
                let gas = Component::new(CostKind::Kiln, "gas", inputs.gas_kg, "kg", None, recurs);
                add(gas, self.prices.of(PriceKind::Gas, "", "gas"));
            }
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
        self.add_work(row, part, &mut components);
        self.add_bought(row, &mut components);
        let conversions = self.convert(&mut components);
        let metal_price = metal_price * self.rate();
        let line = QuoteLine {
            name: row.design.clone().into(),
            quantity: u32::try_from(row.quantity).unwrap_or(0),
            spares: inputs.spares,
            components,
            tax: self
                .line_tax(row.n)
                .map(|tax| TaxClass { name: tax.name.into(), rate: Percent(tax.percent) }),
        };
        Ok(Reckoned { line, weight, metal: (metal_g, metal_price), own_g, conversions })
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

/// A line as it is kept.
pub(super) fn kept_line(
    row: &LineRow,
    each: Reckoned,
    priced: &PricedLine,
    breaks: Vec<Break>,
    inputs: &Inputs,
) -> Line {
    let tax =
        each.line.tax.map(|class| LineTax { name: class.name.into_owned(), percent: class.rate.0 });
    let working = with_conversions(&each.conversions, priced);
    let bought = inputs.all_bought();
    let with = bought.iter().filter(|bought| bought.line == Some(row.n));
    Line {
        n: row.n,
        name: row.design.clone(),
        alloy: row.alloy.clone(),
        alloy_id: Some(row.alloy_id),
        picture: row.picture_id,
        quantity: priced.quantity,
        weight_g: each.weight.value.get(),
        weight: WorkingJson::from(&each.weight.working),
        metal_g: each.metal.0,
        metal_price: each.metal.1,
        own_metal_g: each.own_g,
        breaks,
        components: costs(priced),
        with: with.map(|bought| bought.name.clone()).collect(),
        // Work by task may finish it as well; without any, it is as it came out of the mould.
        as_cast: row.finishing_minutes == 0 && inputs.tasks.is_empty(),
        amounts: Amounts::from(&priced.amounts),
        unit_price: priced.unit_price.map(|price| price.amount()),
        working,
        tax,
    }
}

/// A line beside the order's lines as it is kept.
pub(super) fn kept_beside(conversions: &Working, priced: &PricedLine) -> Line {
    let amounts = Amounts::from(&priced.amounts);
    Line {
        components: costs(priced),
        working: with_conversions(conversions, priced),
        unit_price: priced.unit_price.map(|price| price.amount()),
        ..Line::extra(priced.name.to_string(), amounts, &Working::default())
    }
}

fn costs(priced: &PricedLine) -> Vec<Cost> {
    let parts = priced.components.iter();
    parts
        .map(|part| Cost {
            kind: part.kind.name().to_owned(),
            name: part.name.to_string(),
            cost: part.cost.amount(),
        })
        .collect()
}

/// How a line was reached, after its prices were put into the currency of the quote.
fn with_conversions(conversions: &Working, priced: &PricedLine) -> WorkingJson {
    let mut working = WorkingJson::from(conversions);
    let mut priced_by = WorkingJson::from(&priced.working);
    working.steps.append(&mut priced_by.steps);
    working.warnings.append(&mut priced_by.warnings);
    working
}
