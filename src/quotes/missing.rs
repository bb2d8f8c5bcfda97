//! What stands in the way of a price, and what the owner should know of one.

use super::content::Unpriced;
use super::inputs::Inputs;
use crate::studio::Settings;

/// Something without which no price can be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Missing {
    /// A whole sentence.
    pub(super) what: String,
    /// Where it is put right.
    pub(super) place: String,
    /// What that place is called.
    pub(super) place_name: &'static str,
}

impl Missing {
    pub(super) fn rule(what: &str) -> Self {
        let place = "/prices/rules".to_owned();
        Self { what: sentence(what), place, place_name: "Rules of the price book" }
    }

    pub(super) fn price(what: String) -> Self {
        Self { what: sentence(&what), place: "/prices".to_owned(), place_name: "Prices" }
    }
}

impl From<Missing> for Unpriced {
    fn from(missing: Missing) -> Self {
        let Missing { what, place, place_name } = missing;
        Self { what, place, place_name: place_name.to_owned() }
    }
}

/// What the owner should know before sending it.
pub(super) fn notes(settings: &Settings, inputs: &Inputs, warnings: &[String]) -> Vec<String> {
    let mut notes = warnings.to_vec();
    let mut note = |when: bool, what: &str| {
        if when {
            notes.push(what.to_owned());
        }
    };
    note(
        settings.bench_rate.is_zero(),
        "An hour at the bench costs nothing in the studio's settings.",
    );
    note(
        settings.finishing_rate.is_zero(),
        "An hour of finishing costs nothing in the studio's settings.",
    );
    note(inputs.resin.is_none(), "No resin is charged.");
    note(inputs.investment.is_none(), "No investment is charged.");
    note(inputs.kiln.is_none(), "No kiln is charged.");
    note(
        inputs.investment.is_some() && inputs.powder_kg.is_zero(),
        "No powder is charged: the weight for a flask is 0 kg.",
    );
    note(
        !inputs.own_lines.is_empty(),
        "The client brings metal: sprues and button have to be brought as well, and go back to them.",
    );
    notes
}

/// With a capital and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().into_iter().flat_map(char::to_uppercase).collect();
    let rest = chars.as_str();
    let stop = if rest.ends_with('.') { "" } else { "." };
    format!("{first}{rest}{stop}")
}
