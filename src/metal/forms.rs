//! What people type about metal.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::model::Account;
use super::stock::Countable;
use crate::clock::Day;
use crate::id::AlloyId;
use crate::web::Form;

/// Grams with two decimals as whole centigrams; noted at the field when wrong.
pub(super) fn centigrams(form: &mut Form, name: &str, least: Decimal) -> Option<i64> {
    let grams = form.decimal(name, least, Decimal::from(100_000), 2)?;
    (grams * Decimal::ONE_HUNDRED).to_i64()
}

/// Bought metal as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct BuyForm {
    pub(super) alloy: AlloyId,
    pub(super) lot: String,
    pub(super) cg: i64,
    pub(super) price_per_g: Option<Decimal>,
    pub(super) bought_on: Day,
    pub(super) supplier: String,
    pub(super) note: String,
}

impl BuyForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    /// Only owners see prices, so only theirs are read.
    pub(super) fn read(form: &mut Form, owner: bool, today: Day) -> Option<Self> {
        let alloy = form.choice("alloy");
        let lot = form.needed("lot", 80);
        let cg = centigrams(form, "grams", Decimal::new(1, 2));
        let priced = owner && !form.value("price").trim().is_empty();
        let price_per_g = if priced {
            form.decimal("price", Decimal::ZERO, Decimal::from(1_000_000), 8)
        } else {
            None
        };
        let bought_on = form.day("bought_on");
        if bought_on.is_some_and(|day| day > today) {
            form.wrong("bought_on", "This day has not come yet; note metal when it is here.");
        }
        if bought_on.is_some_and(|day| day.0.year() < 2000) {
            form.wrong("bought_on", "Choose a day after the year 2000.");
        }
        let supplier = form.line("supplier", 200);
        let note = form.text("note", 1000);
        if !form.good() {
            return None;
        }
        let (alloy, cg, bought_on) = (alloy?, cg?, bought_on?);
        Some(Self { alloy, lot, cg, price_per_g, bought_on, supplier, note })
    }
}

/// The accounts that can be put on a scale and counted.
pub(super) const COUNTED: [Account; 3] = [Account::Fresh, Account::Returns, Account::Filings];

/// What was counted of an account, and what the page said was there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Counted {
    pub(super) account: Account,
    pub(super) counted_cg: i64,
    pub(super) seen_cg: i64,
}

/// A stock take as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct CountForm {
    pub(super) counted: Vec<Counted>,
    pub(super) note: String,
}

impl CountForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let mut counted = Vec::new();
        for account in COUNTED {
            let field = account.kind();
            if form.value(field).trim().is_empty() {
                continue;
            }
            let seen_cg = form.value(&format!("seen_{field}")).parse().unwrap_or(i64::MIN);
            if let Some(counted_cg) = centigrams(form, field, Decimal::ZERO) {
                counted.push(Counted { account, counted_cg, seen_cg });
            }
        }
        let note = form.text("count_note", 1000);
        if form.good() && counted.is_empty() {
            form.wrong("fresh", "Type what the scale shows for at least one of them.");
        }
        form.good().then_some(Self { counted, note })
    }
}

/// What is sent to the refiner, as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct RefineForm {
    pub(super) from: Account,
    pub(super) cg: i64,
    pub(super) note: String,
}

impl RefineForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let from = match form.value("from") {
            "filings" => Some(Account::Filings),
            "returns" => Some(Account::Returns),
            _ => {
                form.wrong("from", "Choose one of these.");
                None
            }
        };
        let cg = centigrams(form, "sent", Decimal::new(1, 2));
        let note = form.text("sent_note", 1000);
        if !form.good() {
            return None;
        }
        Some(Self { from: from?, cg: cg?, note })
    }
}

/// Metal that a client brings or takes back, as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct OwnForm {
    pub(super) alloy: AlloyId,
    pub(super) cg: i64,
    pub(super) note: String,
}

impl OwnForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let alloy = form.choice("alloy");
        let cg = centigrams(form, "grams", Decimal::new(1, 2));
        let note = form.text("note", 1000);
        if !form.good() {
            return None;
        }
        Some(Self { alloy: alloy?, cg: cg?, note })
    }
}

/// What was agreed with a client about their metal, as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct SettleForm {
    pub(super) alloy: AlloyId,
    pub(super) cg: i64,
    /// The studio keeps metal from their drawer; else they bear a loss.
    pub(super) kept: bool,
    pub(super) note: String,
}

impl SettleForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let alloy = form.choice("settle_alloy");
        let cg = centigrams(form, "settle_grams", Decimal::new(1, 2));
        let kept = match form.value("what") {
            "loss" => Some(false),
            "kept" => Some(true),
            _ => {
                form.wrong("what", "Choose one of these.");
                None
            }
        };
        let note = form.needed("settle_note", 1000);
        if !form.good() {
            return None;
        }
        Some(Self { alloy: alloy?, cg: cg?, kept: kept?, note })
    }
}

/// A melt as it was made, as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct MeltForm {
    pub(super) alloy: AlloyId,
    pub(super) account: Account,
    pub(super) cg: i64,
    pub(super) with: AlloyId,
    pub(super) add_cg: i64,
    pub(super) into: AlloyId,
    /// Weighed after melting.
    pub(super) after_cg: i64,
    pub(super) note: String,
}

impl MeltForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let alloy = form.choice("alloy");
        let account = match form.value("account") {
            "returns" => Account::Returns,
            _ => Account::Fresh,
        };
        let cg = centigrams(form, "grams", Decimal::new(1, 2));
        let with = form.choice("with");
        let add_cg = centigrams(form, "add", Decimal::ZERO);
        let into = form.choice("into");
        if into.is_none() {
            form.wrong("into", "Say which alloy of the studio it is now.");
        }
        let after_cg = centigrams(form, "after", Decimal::new(1, 2));
        if let (Some(cg), Some(add), Some(after)) = (cg, add_cg, after_cg)
            && after > cg + add
        {
            form.wrong("after", "The melt cannot weigh more than what went in; check the scale.");
        }
        let note = form.text("note", 1000);
        if !form.good() {
            return None;
        }
        Some(Self {
            alloy: alloy?,
            account,
            cg: cg?,
            with: with?,
            add_cg: add_cg?,
            into: into?,
            after_cg: after_cg?,
            note,
        })
    }
}

/// What was counted of each thing that could be weighed.
#[derive(Clone, Debug)]
pub(super) struct StockTake {
    /// By alloy.
    pub(super) counted: Vec<(AlloyId, Vec<Counted>)>,
    pub(super) note: String,
}

impl StockTake {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form, rows: &[Countable]) -> Option<Self> {
        let mut counted: Vec<(AlloyId, Vec<Counted>)> = Vec::new();
        for row in rows {
            let field = row.field();
            if form.value(&field).trim().is_empty() {
                continue;
            }
            let seen_cg = form.value(&format!("seen_{field}")).parse().unwrap_or(i64::MIN);
            let Some(counted_cg) = centigrams(form, &field, Decimal::ZERO) else { continue };
            let each = Counted { account: row.account, counted_cg, seen_cg };
            match counted.last_mut().filter(|(alloy, _)| *alloy == row.alloy_id) {
                Some((_, its)) => its.push(each),
                None => counted.push((row.alloy_id, vec![each])),
            }
        }
        let note = form.text("count_note", 1000);
        if form.good() && counted.is_empty() {
            form.wrong("", "Type what the scale shows for at least one of them.");
        }
        form.good().then_some(Self { counted, note })
    }
}

/// What came back from the refiner, as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct RefinedForm {
    /// Of what was sent, so much is settled by it.
    pub(super) settled_cg: i64,
    pub(super) into: AlloyId,
    pub(super) came_cg: i64,
    pub(super) note: String,
}

impl RefinedForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let settled = centigrams(form, "settled", Decimal::new(1, 2));
        let into = form.choice("into");
        let came = centigrams(form, "came", Decimal::ZERO);
        if let (Some(settled), Some(came)) = (settled, came)
            && came > settled
        {
            form.wrong("came", "More cannot come back than what it settles; check both masses.");
        }
        let note = form.text("refined_note", 1000);
        if !form.good() {
            return None;
        }
        Some(Self { settled_cg: settled?, into: into?, came_cg: came?, note })
    }
}
