//! What people choose for a plate.

use super::model::SUPPORTS;
use crate::id::{PrinterId, ResinLotId};
use crate::web::Form;

/// How a plate is to be printed; what is left empty is the printer's usual.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SettingForm {
    pub(super) printer: PrinterId,
    pub(super) lot: ResinLotId,
    pub(super) layer_um: Option<i32>,
    pub(super) exposure_s: Option<f64>,
    pub(super) supports: String,
    /// Whether any side of a piece may be below.
    pub(super) any_side: bool,
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
        let any_side = form.ticked("any_side");
        let note = form.text("note", 2000);
        if !form.good() {
            return None;
        }
        Some(Self {
            printer: printer?,
            lot: lot?,
            layer_um: layer,
            exposure_s,
            supports,
            any_side,
            note,
        })
    }
}
