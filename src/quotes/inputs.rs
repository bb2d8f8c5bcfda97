//! What the owner may turn while pricing.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::clock::Day;
use crate::id::{InvestmentId, KilnId, PrinterId, ResinId};
use crate::web::Form;

/// Everything about a price that is not on the order itself. A machine or
/// material that is not chosen is not charged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Inputs {
    pub(super) resin: Option<ResinId>,
    pub(super) supports_percent: Decimal,
    pub(super) printer: Option<PrinterId>,
    pub(super) pieces_on_plate: u32,
    pub(super) investment: Option<InvestmentId>,
    pub(super) powder_kg: Decimal,
    pub(super) pieces_in_flask: u32,
    pub(super) kiln: Option<KilnId>,
    pub(super) kiln_kwh: Decimal,
    pub(super) kiln_hours: Decimal,
    pub(super) flasks_in_load: u32,
    pub(super) set_up_minutes: u32,
    pub(super) bench_minutes: u32,
    pub(super) spares: u32,
    pub(super) metal_loss_percent: Decimal,
    pub(super) overhead_percent: Decimal,
    pub(super) margin_percent: Decimal,
    pub(super) discount_percent: Decimal,
    pub(super) deposit_percent: Decimal,
    pub(super) extra_name: String,
    pub(super) extra_amount: Decimal,
    pub(super) valid_days: u32,
    pub(super) ready_by: Option<Day>,
    pub(super) message: String,
}

impl Inputs {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form, today: Day) -> Option<Self> {
        let ready_by = form.day_or_none("ready_by");
        if ready_by.is_some_and(|day| day < today) {
            form.wrong(
                "ready_by",
                "This day has passed. Choose today or a later day, or leave it open.",
            );
        }
        let percent = |form: &mut Form, name: &str, most: i64| {
            form.decimal(name, Decimal::ZERO, Decimal::new(most, 2), 4)
        };
        let inputs = Self {
            resin: chosen(form, "resin"),
            supports_percent: percent(form, "supports_percent", 50_000)?,
            printer: chosen(form, "printer"),
            pieces_on_plate: count(form, "pieces_on_plate", 1, 10_000)?,
            investment: chosen(form, "investment"),
            powder_kg: form.decimal("powder_kg", Decimal::ZERO, Decimal::from(1000), 4)?,
            pieces_in_flask: count(form, "pieces_in_flask", 1, 10_000)?,
            kiln: chosen(form, "kiln"),
            kiln_kwh: form.decimal("kiln_kwh", Decimal::ZERO, Decimal::from(10_000), 3)?,
            kiln_hours: form.decimal("kiln_hours", Decimal::ZERO, Decimal::from(1000), 3)?,
            flasks_in_load: count(form, "flasks_in_load", 1, 1000)?,
            set_up_minutes: count(form, "set_up_minutes", 0, 100_000)?,
            bench_minutes: count(form, "bench_minutes", 0, 100_000)?,
            spares: count(form, "spares", 0, 1000)?,
            metal_loss_percent: percent(form, "metal_loss_percent", 5_000)?,
            overhead_percent: percent(form, "overhead_percent", 100_000)?,
            margin_percent: percent(form, "margin_percent", 9_500)?,
            discount_percent: percent(form, "discount_percent", 10_000)?,
            deposit_percent: percent(form, "deposit_percent", 10_000)?,
            extra_name: form.line("extra_name", 100),
            extra_amount: extra(form)?,
            valid_days: count(form, "valid_days", 1, 365)?,
            ready_by,
            message: form.text("message", 4000),
        };
        form.good().then_some(inputs)
    }

    /// The form with these inputs in it.
    pub(super) fn form(&self) -> Form {
        let id = |id: Option<String>| id.unwrap_or_default();
        let plain = |value: Decimal| value.normalize().to_string();
        Form::filled([
            ("resin", id(self.resin.map(|id| id.to_string()))),
            ("supports_percent", plain(self.supports_percent)),
            ("printer", id(self.printer.map(|id| id.to_string()))),
            ("pieces_on_plate", self.pieces_on_plate.to_string()),
            ("investment", id(self.investment.map(|id| id.to_string()))),
            ("powder_kg", plain(self.powder_kg)),
            ("pieces_in_flask", self.pieces_in_flask.to_string()),
            ("kiln", id(self.kiln.map(|id| id.to_string()))),
            ("kiln_kwh", plain(self.kiln_kwh)),
            ("kiln_hours", plain(self.kiln_hours)),
            ("flasks_in_load", self.flasks_in_load.to_string()),
            ("set_up_minutes", self.set_up_minutes.to_string()),
            ("bench_minutes", self.bench_minutes.to_string()),
            ("spares", self.spares.to_string()),
            ("metal_loss_percent", plain(self.metal_loss_percent)),
            ("overhead_percent", plain(self.overhead_percent)),
            ("margin_percent", plain(self.margin_percent)),
            ("discount_percent", plain(self.discount_percent)),
            ("deposit_percent", plain(self.deposit_percent)),
            ("extra_name", self.extra_name.clone()),
            ("extra_amount", plain(self.extra_amount)),
            ("valid_days", self.valid_days.to_string()),
            ("ready_by", self.ready_by.map(|day| day.to_string()).unwrap_or_default()),
            ("message", self.message.clone()),
        ])
    }
}

/// A thing chosen from a list that may be left out.
fn chosen<T: std::str::FromStr>(form: &mut Form, name: &str) -> Option<T> {
    if form.value(name).is_empty() { None } else { form.choice(name) }
}

fn count(form: &mut Form, name: &str, least: i64, most: i64) -> Option<u32> {
    form.whole(name, least, most).and_then(|n| u32::try_from(n).ok())
}

/// An amount for something bought in; empty is nothing.
fn extra(form: &mut Form) -> Option<Decimal> {
    if form.value("extra_amount").trim().is_empty() {
        return Some(Decimal::ZERO);
    }
    form.decimal("extra_amount", Decimal::ZERO, Decimal::from(10_000_000), 4)
}
