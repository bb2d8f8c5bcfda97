//! What people choose for a plate.

use super::model::{ORIENTATIONS, SUPPORTS};
use crate::id::{AttemptId, PrinterId, ProfileId, ResinLotId};
use crate::web::Form;

/// How a plate is to be printed; what is left empty is the printer's usual.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SettingForm {
    pub(super) printer: PrinterId,
    pub(super) lot: ResinLotId,
    pub(super) layer_um: Option<i32>,
    pub(super) exposure_s: Option<f64>,
    pub(super) profile: Option<ProfileId>,
    pub(super) supports: String,
    /// Whether any side of a piece may be below.
    pub(super) any_side: bool,
    pub(super) first_contact: bool,
    pub(super) orientation: String,
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
        let profile = if form.value("profile").is_empty() { None } else { form.choice("profile") };
        let first_contact = form.ticked("first_contact");
        let mut orientation = form.value("orientation").to_owned();
        if orientation.is_empty() {
            orientation.push_str("as drawn");
        }
        if !ORIENTATIONS.contains(&orientation.as_str()) {
            form.wrong("orientation", "Choose one of these.");
        }
        let note = form.text("note", 2000);
        if !form.good() {
            return None;
        }
        Some(Self {
            printer: printer?,
            lot: lot?,
            layer_um: layer,
            exposure_s,
            profile,
            supports,
            any_side,
            first_contact,
            orientation,
            note,
        })
    }
}

/// Something to note about a piece that came off a plate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Noted {
    pub(super) attempt: AttemptId,
    pub(super) what: String,
    pub(super) place: String,
    pub(super) to_mend: bool,
}

/// What was ticked beside the pieces: where the failed ones failed, and which of the others
/// have scars to fill. An id that is none was refused before, with the failures.
pub(super) fn noted(form: &Form, failed: &[(AttemptId, String)]) -> Vec<Noted> {
    let failed_at = failed.iter().filter_map(|(attempt, cause)| {
        let place: String =
            form.value(&format!("where-{attempt}")).trim().chars().take(200).collect();
        (!place.is_empty()).then(|| Noted {
            attempt: *attempt,
            what: cause.clone(),
            place,
            to_mend: false,
        })
    });
    let scars = form
        .all("scars")
        .filter_map(|id| id.parse().ok())
        .filter(|attempt| !failed.iter().any(|(other, _)| other == attempt))
        .map(|attempt| Noted {
            attempt,
            what: "support scars to fill".to_owned(),
            place: String::new(),
            to_mend: true,
        });
    failed_at.chain(scars).collect()
}
