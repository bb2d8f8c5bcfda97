//! What is told at the finishing bench.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::web::Form;

/// A weight in grams with two decimals, as the ledger's centigrams.
pub(super) fn centigrams(form: &mut Form, name: &str) -> Option<i64> {
    let grams = form.decimal(name, Decimal::new(1, 2), Decimal::from(100_000), 2)?;
    (grams * Decimal::ONE_HUNDRED).to_i64()
}

/// A piece that is finished, as told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct PassForm {
    pub(super) raw_cg: i64,
    pub(super) finished_cg: i64,
    pub(super) minutes: i32,
    /// It was asked about and is so.
    pub(super) sure: bool,
}

impl PassForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let raw_cg = centigrams(form, "raw");
        let finished_cg = centigrams(form, "finished");
        let minutes = form.whole("minutes", 0, 100_000);
        if let (Some(raw), Some(finished)) = (raw_cg, finished_cg)
            && finished > raw
        {
            form.wrong(
                "finished",
                "A piece cannot weigh more after finishing than before; check both weights.",
            );
        }
        if !form.good() {
            return None;
        }
        Some(Self {
            raw_cg: raw_cg?,
            finished_cg: finished_cg?,
            minutes: i32::try_from(minutes?).ok()?,
            sure: form.is_sure(),
        })
    }
}
