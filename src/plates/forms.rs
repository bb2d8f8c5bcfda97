//! What people choose for a plate.

use super::model::SUPPORTS;
use crate::id::{AttemptId, PrinterId, ResinLotId};
use crate::web::{Form, Refused};

/// How a plate is to be printed; what is left empty is the printer's usual.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SettingForm {
    pub(super) printer: PrinterId,
    pub(super) lot: ResinLotId,
    pub(super) layer_um: Option<i32>,
    pub(super) exposure_s: Option<f64>,
    pub(super) supports: String,
    pub(super) note: String,
}

impl SettingForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let printer = form.choice("printer");
        let lot = form.choice("lot");
        let layer = if form.value("layer").trim().is_empty() {
            None
        } else {
            form.whole("layer", 5, 500).and_then(|um| i32::try_from(um).ok())
        };
        let exposure_s = form.number_or_none("exposure", 0.05, 3600.0);
        let supports = form.value("supports").to_owned();
        if !SUPPORTS.iter().any(|(name, ..)| *name == supports) {
            form.wrong("supports", "Choose one of these.");
        }
        let note = form.text("note", 2000);
        if !form.good() {
            return None;
        }
        Some(Self { printer: printer?, lot: lot?, layer_um: layer, exposure_s, supports, note })
    }
}

/// The pieces that were ticked.
pub(super) fn ticked(form: &mut Form) -> Vec<AttemptId> {
    let all: Vec<Option<AttemptId>> = form.all("pieces").map(|id| id.parse().ok()).collect();
    if all.is_empty() {
        form.wrong("pieces", "Tick at least one piece.");
    } else if all.iter().any(Option::is_none) {
        form.wrong("pieces", "A piece in this list is not known; load the page again.");
    }
    let mut known: Vec<AttemptId> = all.into_iter().flatten().collect();
    known.sort_unstable();
    known.dedup();
    known
}

/// The pieces that did not come out, each with its cause.
pub(super) fn failures(form: &Form) -> Result<Vec<(AttemptId, String)>, Refused> {
    let mut failed = Vec::new();
    for id in form.all("failed") {
        let attempt = id.parse().map_err(|_| {
            Refused::conflict("A piece in this list is not known; load the page again.")
        })?;
        let cause: String = form.value(&format!("cause-{id}")).trim().chars().take(200).collect();
        failed.push((attempt, cause));
    }
    Ok(failed)
}
