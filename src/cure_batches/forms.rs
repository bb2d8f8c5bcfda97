//! What people choose for a cure batch.

use super::model::MEDIA;
use crate::web::Form;

/// A batch as typed, checked; minutes left empty come from the resin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct BatchForm {
    pub(super) wash: String,
    pub(super) wash_minutes: Option<i32>,
    pub(super) medium: String,
    pub(super) cure_minutes: Option<i32>,
    pub(super) note: String,
}

fn minutes(form: &mut Form, name: &str, least: i64, most: i64) -> Option<i32> {
    if form.value(name).trim().is_empty() {
        return None;
    }
    form.whole(name, least, most).and_then(|minutes| i32::try_from(minutes).ok())
}

impl BatchForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let wash = form.needed("wash", 80);
        let wash_minutes = minutes(form, "wash_minutes", 0, 600);
        let cure_minutes = minutes(form, "cure_minutes", 1, 1440);
        let medium = form.value("medium").to_owned();
        if !MEDIA.iter().any(|(name, _)| *name == medium) {
            form.wrong("medium", "Choose one of these.");
        }
        let note = form.text("note", 2000);
        form.good().then_some(Self { wash, wash_minutes, medium, cure_minutes, note })
    }
}
