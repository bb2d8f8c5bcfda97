//! What the owner types about a price.

use rust_decimal::Decimal;

use super::model::{PriceKind, money, per_own_unit};
use crate::clock::Day;
use crate::web::Form;

/// A price as typed, checked, by the unit that prices of its kind are kept in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct PriceForm {
    pub(super) kind: PriceKind,
    pub(super) item: String,
    pub(super) amount: Decimal,
    pub(super) valid_from: Day,
    /// Whether a price already noted for that day may be put right.
    pub(super) correct: bool,
}

impl PriceForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form, currency: &str, today: Day) -> Option<Self> {
        let what = form.value("what").to_owned();
        let chosen = what
            .split_once(':')
            .and_then(|(kind, item)| Some((kind.parse::<PriceKind>().ok()?, item.to_owned())));
        if chosen.is_none() {
            form.wrong("what", "Choose what the price is for.");
        }
        let most = Decimal::from(100_000_000);
        let decimals = chosen.as_ref().map_or(8, |(kind, _)| kind.decimals());
        let typed = form.decimal("amount", Decimal::ZERO, most, decimals);
        let valid_from = form.day("valid_from");
        if valid_from.is_some_and(|day| day.0.year() < 2000 || day > today.plus_days(366)) {
            form.wrong("valid_from", "Choose a day between the year 2000 and a year from now.");
        }
        let unit = form.value("per").to_owned();
        let (kind, item) = chosen?;
        let typed = money(typed?, currency)?;
        let amount = match per_own_unit(kind, typed, &unit) {
            Ok(amount) => amount,
            Err(words) => {
                form.wrong(if kind == PriceKind::Exchange { "amount" } else { "per" }, words);
                return None;
            }
        };
        if !form.good() {
            return None;
        }
        let correct = form.ticked("correct");
        Some(Self { kind, item, amount, valid_from: valid_from?, correct })
    }
}
