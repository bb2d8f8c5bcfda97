//! What is settled before a trial begins.

use foundry::quantity::Share;
use foundry::yields::{self, Confidence};

use super::model::Setting;
use crate::pieces::Stage;
use crate::web::Form;

/// A trial as typed, checked, with the number of pieces it needs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct TrialForm {
    pub(super) question: String,
    pub(super) setting: Setting,
    pub(super) first_arm: String,
    pub(super) second_arm: String,
    pub(super) stage: Stage,
    pub(super) first_yield: f64,
    pub(super) second_yield: f64,
    pub(super) power: f64,
    pub(super) each: i32,
}

impl TrialForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let question = form.needed("question", 300);
        let setting: Option<Setting> = form.value("setting").parse().ok();
        if setting.is_none() {
            form.wrong("setting", "Choose one of these.");
        }
        let stage: Option<Stage> = form.value("stage").parse().ok();
        if stage.is_none() {
            form.wrong("stage", "Choose one of these.");
        }
        let values = setting.map_or(&[][..], Setting::values);
        let arms = [form.line("first_arm", 120), form.line("second_arm", 120)].map(|arm| {
            let known = values.iter().find(|value| value.eq_ignore_ascii_case(&arm));
            known.map_or(arm, |value| (*value).to_owned())
        });
        for (name, arm) in ["first_arm", "second_arm"].into_iter().zip(&arms) {
            if arm.is_empty() {
                form.wrong(name, "Say what is done in this arm.");
            } else if !values.is_empty() && !values.contains(&arm.as_str()) {
                form.wrong(name, format!("One of {} is needed here.", values.join(", ")));
            }
        }
        if arms[0] == arms[1] {
            form.wrong("second_arm", "The two arms have to differ.");
        }
        let mut share = |name: &str| Some(form.number(name, 1.0, 99.5)? / 100.0);
        let (first_yield, second_yield) = (share("first_yield"), share("second_yield"));
        let power = form.number("power", 50.0, 99.0).map(|percent| percent / 100.0);
        let (first_yield, second_yield, power) = (first_yield?, second_yield?, power?);
        let of = |share: f64| Share::new(share).ok();
        let needed = yields::pieces_for_trial(
            of(first_yield)?,
            of(second_yield)?,
            Confidence::NinetyFive,
            of(power)?,
        );
        let each = match needed {
            Ok(size) => i32::try_from(size.value.each).ok(),
            Err(refusal) => {
                form.wrong(
                    "second_yield",
                    format!("No trial can be planned like this: {refusal}."),
                );
                None
            }
        };
        if !form.good() {
            return None;
        }
        let [first_arm, second_arm] = arms;
        Some(Self {
            question,
            setting: setting?,
            first_arm,
            second_arm,
            stage: stage?,
            first_yield,
            second_yield,
            power,
            each: each?,
        })
    }
}
