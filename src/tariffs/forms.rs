//! What the owner types about a tariff.

use rust_decimal::Decimal;

use super::model::{Days, Hours, Overlap, bands};
use crate::clock::Day;
use crate::web::Form;

/// Lines for hours with a price of their own.
pub(super) const LINES: usize = 6;

/// A tariff as typed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NewTariff {
    pub(super) name: String,
    pub(super) valid_from: Day,
    pub(super) base: Decimal,
    pub(super) hours: Vec<Hours>,
}

/// The name of a field of a line.
pub(super) fn field(what: &str, line: usize) -> String {
    format!("{what}_{line}")
}

impl NewTariff {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.needed("name", 120);
        let valid_from = form.day("valid_from");
        let most = Decimal::from(1000);
        let base = form.decimal("base", Decimal::ZERO, most, 6);
        let mut hours = Vec::new();
        let mut lines = Vec::new();
        for line in 0..LINES {
            let [days, from, to, price] = ["days", "from", "to", "price"].map(|w| field(w, line));
            let typed = |form: &Form, name: &str| !form.value(name).trim().is_empty();
            if ![&from, &to, &price].iter().any(|name| typed(form, name)) {
                continue;
            }
            let chosen = Days::ALL.iter().find(|(_, word, _)| *word == form.value(&days));
            if chosen.is_none() {
                form.wrong(&days, "Choose one of these.");
            }
            let (from_min, to_min) = (time_of_day(form, &from), time_of_day(form, &to));
            let price = form.decimal(&price, Decimal::ZERO, most, 6);
            if let (Some((days, ..)), Some(from_min), Some(to_min), Some(price)) =
                (chosen, from_min, to_min, price)
            {
                hours.push(Hours { days: *days, from_min, to_min, price });
                lines.push(line);
            }
        }
        if let Err(Overlap(n)) = bands(base.unwrap_or_default(), &hours) {
            let name = field("from", lines.get(n).copied().unwrap_or(0));
            form.wrong(&name, "These hours overlap with hours above; each hour has one price.");
        }
        if !form.good() {
            return None;
        }
        Some(Self { name, valid_from: valid_from?, base: base?, hours })
    }
}

/// A time of day in minutes, after a note `None`; midnight may be written 24:00.
fn time_of_day(form: &mut Form, name: &str) -> Option<i32> {
    let typed = form.value(name).trim().to_owned();
    let parsed = typed.split_once(':').and_then(|(hours, minutes)| {
        let minutes = minutes.split(':').next().unwrap_or_default();
        Some((hours.parse::<i32>().ok()?, minutes.parse::<i32>().ok()?))
    });
    match parsed {
        Some((24, 0)) => Some(0),
        Some((hours @ 0..=23, minutes @ 0..=59)) => Some(hours * 60 + minutes),
        _ => {
            form.wrong(name, format!("“{typed}” is not a time of day; write it like 22:00."));
            None
        }
    }
}
