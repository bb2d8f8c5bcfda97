//! Work and what is bought in: what comes once for an order is shared by the pieces of its lines.

use foundry::quote::{Component, CostKind, Factor, QuoteLine, Recurs};
use foundry::working::Working;
use rust_decimal::Decimal;

use super::bought::BoughtIn;
use super::workshop::Workshop;
use crate::orders::LineRow;

/// How many of the order's pieces are of a line; what comes once is shared by it.
#[derive(Clone, Copy, Debug)]
pub(super) struct PartOfOrder {
    pub(super) pieces: u32,
    pub(super) all: u32,
}

const OF_LINE: &str = "pieces of the line";
const OF_ORDER: &str = "pieces of the order";
/// What an amount for each piece that the client gets is counted in.
const SOLD: &str = "pieces sold";

impl PartOfOrder {
    /// A cost of the whole order as this line bears it: by its pieces, so that equal pieces
    /// cost the same on whatever line they stand.
    fn share(self, whole: Component) -> Component {
        if self.pieces == self.all {
            return whole;
        }
        whole
            .with_factor(Factor::Times { name: OF_LINE.into(), value: self.pieces.into() })
            .with_factor(Factor::DividedBy { name: OF_ORDER.into(), value: self.all.into() })
    }
}

/// A line in another number: its share of what comes once for the order, and what is bought in
/// for each piece, follow. The other lines stay as they are.
pub(super) fn in_number(line: &QuoteLine, quantity: u32) -> QuoteLine {
    let mut other = QuoteLine { quantity, ..line.clone() };
    let (is, was) = (Decimal::from(quantity), Decimal::from(line.quantity));
    for component in &mut other.components {
        if component.unit == SOLD {
            component.amount = is;
        }
        for factor in &mut component.factors {
            match factor {
                Factor::Times { name, value } if *name == OF_LINE => *value = is,
                Factor::DividedBy { name, value } if *name == OF_ORDER => *value += is - was,
                _ => {}
            }
        }
    }
    other
}

impl Workshop<'_> {
    /// Minutes at the bench, and the line's share of what comes once for the order.
    pub(super) fn add_work(
        &self,
        row: &LineRow,
        part: PartOfOrder,
        components: &mut Vec<Component>,
    ) {
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
        for spec in &self.inputs.tasks {
            let Some(task) = self.shop.tasks.iter().find(|task| task.id == spec.task) else {
                continue;
            };
            let recurs = if spec.each { Recurs::PerPiece } else { Recurs::Once };
            let (minutes, name) = (Decimal::from(spec.minutes), task.name.clone());
            let rate = self.money(task.hour_rate);
            let work = Component::minutes(CostKind::Bench, name, minutes, rate, recurs);
            components.push(if spec.each { work } else { part.share(work) });
        }
        if !self.inputs.set_up_apart {
            components.push(part.share(self.set_up()));
        }
    }

    fn set_up(&self) -> Component {
        let minutes = Decimal::from(self.inputs.set_up_minutes);
        let bench = self.money(self.settings.bench_rate);
        let name = "set-up of the order";
        Component::minutes(CostKind::SetUp, name, minutes, bench, Recurs::Once)
    }

    /// What is bought in for a line.
    pub(super) fn add_bought(&self, row: &LineRow, components: &mut Vec<Component>) {
        for bought in self.inputs.all_bought().iter().filter(|each| each.line == Some(row.n)) {
            let (times, unit) = match bought.each {
                true => (Decimal::from(row.quantity), SOLD),
                false => (Decimal::ONE, "×"),
            };
            components.push(self.bought(bought, times, unit));
        }
    }

    fn bought(&self, bought: &BoughtIn, times: Decimal, unit: &'static str) -> Component {
        let (name, price) = (bought.name.clone(), self.money(bought.amount));
        Component::new(CostKind::BoughtIn, name, times, unit, price, Recurs::Once)
    }

    /// What stands beside the order's lines as lines of their own: what is bought in for none of
    /// them, and the set-up when it was asked to be told apart.
    pub(super) fn beside(&self) -> Vec<(QuoteLine, Working)> {
        let line = |name: &str, component: Component| {
            let mut components = vec![component];
            let conversions = self.convert(&mut components);
            let name = name.to_owned().into();
            (QuoteLine { name, quantity: 1, spares: 0, components, tax: None }, conversions)
        };
        let mut beside = Vec::new();
        if self.inputs.set_up_apart && self.inputs.set_up_minutes > 0 {
            beside.push(line("Set-up of the order", self.set_up()));
        }
        for bought in self.inputs.all_bought().iter().filter(|each| each.line.is_none()) {
            beside.push(line(&bought.name, self.bought(bought, Decimal::ONE, "×")));
        }
        beside
    }
}
