//! The steps of each stage, in the trade's words and order. Common practice, no source,
//! unless a caution names one.

use crate::pieces::Stage;

/// What may be told at a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// A figure in a unit, within limits.
    Number { unit: &'static str, least: f64, most: f64 },
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// Yes, or nothing.
    Tick,
    /// In their own words.
    Words,
}

/// Something that is told at a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Field {
    pub(super) name: &'static str,
    pub(super) words: &'static str,
    pub(super) kind: Kind,
    /// Without it the step says nothing.
    pub(super) needed: bool,
}

/// One thing that is done at the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    pub(super) key: &'static str,
    /// Whether it is done only where something keeps air off, as water does in a cure.
    pub(super) in_medium: bool,
    pub(super) words: &'static str,
    pub(super) fields: &'static [Field],
    /// Whether it is done more than once, as a check on the way.
    pub(super) again: bool,
    pub(super) caution: &'static str,
}

impl Step {
    /// Whether a tap alone says what there is to say.
    pub(super) fn is_a_tap(&self) -> bool {
        !self.fields.iter().any(|field| field.needed)
    }

    /// Whether it asks for the minutes that somebody works on it.
    pub(super) fn counts_work(&self) -> bool {
        self.fields.iter().any(|field| field.name == "minutes" && field.words != SINCE_THE_POUR)
    }
}

/// What minutes are called that pass by themselves; no clock of work counts them.
const SINCE_THE_POUR: &str = "After the pour";

const fn step(key: &'static str, words: &'static str, fields: &'static [Field]) -> Step {
    Step { key, in_medium: false, words, fields, again: false, caution: "" }
}

/// Done only in a medium that keeps air off.
const fn in_medium(step: Step) -> Step {
    Step { in_medium: true, ..step }
}

const fn again(key: &'static str, words: &'static str, fields: &'static [Field]) -> Step {
    Step { again: true, ..step(key, words, fields) }
}

const fn careful(step: Step, caution: &'static str) -> Step {
    Step { caution, ..step }
}

const fn field(name: &'static str, words: &'static str, kind: Kind) -> Field {
    Field { name, words, kind, needed: false }
}

const fn needed(field: Field) -> Field {
    Field { needed: true, ..field }
}

const fn number(
    name: &'static str,
    words: &'static str,
    unit: &'static str,
    least: f64,
    most: f64,
) -> Field {
    field(name, words, Kind::Number { unit, least, most })
}

const fn one_of(name: &'static str, words: &'static str, of: &'static [&'static str]) -> Field {
    field(name, words, Kind::OneOf(of))
}

const MINUTES: Field = number("minutes", "Minutes", "min", 0.0, 1440.0);
/// The minutes of a task, which add up to the piece's finishing time.
const WORKED: Field = needed(number("minutes", "Worked on it", "min", 0.0, 1440.0));
const NOTE: Field = field("note", "Note", Kind::Words);

const PRINT: &[Step] = &[
    step(
        "vat",
        "Vat and film looked at",
        &[
            one_of("film", "Film", &["clear", "clouded", "scratched", "new"]),
            number("resin_c", "Resin", "°C", 5.0, 60.0),
            field("stirred", "Resin stirred or shaken", Kind::Tick),
        ],
    ),
    step("plate", "Plate level and clean", &[]),
    step(
        "first_layers",
        "First layers looked at",
        &[one_of("hold", "They hold", &["everywhere", "not at a corner", "not at all"])],
    ),
    step(
        "off",
        "Taken off the printer",
        &[
            needed(number("hours", "Printed, as the printer says", "h", 0.05, 200.0)),
            number("resin_ml", "Resin, as weighed or as the printer says", "ml", 0.1, 5000.0),
        ],
    ),
    step(
        "supports_off",
        "Supports taken off",
        &[
            one_of("when", "When", &["before the wash", "after the wash", "after the cure"]),
            MINUTES,
        ],
    ),
];

const BATH: Field = one_of("bath", "Bath", &["fresh", "used", "nearly spent"]);
const FLAMES: &str = "Solvent vapour is heavier than air and catches fire far from the bath: no flame, kiln or torch near it, lid on, gloves, fresh air.";

const CURE: &[Step] = &[
    careful(step("solvent_first", "First wash, in solvent", &[BATH, MINUTES]), FLAMES),
    step("solvent_second", "Second wash, in clean solvent", &[BATH, MINUTES]),
    step("water_warm", "Warm water", &[MINUTES, number("water_c", "Water", "°C", 10.0, 90.0)]),
    step("water_cold", "Cold water", &[MINUTES]),
    careful(
        step(
            "dried",
            "Dried",
            &[one_of("by", "By", &["standing", "cold air", "warm air", "compressed air"]), MINUTES],
        ),
        "No light before all solvent is gone: what is left in it stays soft, and its vapour burns. Eye protection with compressed air.",
    ),
    in_medium(step(
        "weighted",
        "Weighted down in the medium",
        &[one_of("with", "Held by", &["glass", "mesh", "its own weight"])],
    )),
    again(
        "turned",
        "Turned over",
        &[one_of("side", "Now up", &["back", "front", "side"]), MINUTES],
    ),
    in_medium(step("rinsed", "Medium rinsed off", &[])),
    step(
        "surface",
        "Surface felt",
        &[needed(one_of("surface", "It is", &["dry and hard", "slightly tacky", "tacky"]))],
    ),
];

const INVEST: &[Step] = &[
    careful(
        step(
            "cleaned",
            "Cleaned up and mended",
            &[
                one_of("wax", "Wax fill", &["none", "support scars", "holes or cracks"]),
                MINUTES,
                NOTE,
            ],
        ),
        "Sanding dust of resin harms skin and lungs: sand wet, wear a fitted respirator (P2, N95 or better).",
    ),
    step(
        "sprued",
        "Sprues set",
        &[
            one_of(
                "place",
                "At",
                &["thickest section", "flat back", "rim or shank", "several sections"],
            ),
            one_of("advice", "Feed advice", &["followed", "not followed", "none"]),
            one_of("joint", "Joint", &["filleted", "straight", "necked"]),
            MINUTES,
        ],
    ),
    step(
        "walled",
        "Flask made ready",
        &[
            one_of("wall", "Wall", &["solid", "solid with channels", "perforated and wrapped"]),
            number("channels", "Vacuum channels", "", 0.0, 60.0),
            number("channel_mm", "Channel", "mm", 0.5, 20.0),
        ],
    ),
    careful(
        step("respirator", "Respirator on, extraction running", &[]),
        "Investment powder holds crystalline silica, which harms the lungs for good (OSHA 29 CFR 1910.1053). The maker's safety data sheet and local rules decide.",
    ),
    step(
        "bubbles",
        "Bubbles drawn out",
        &[
            one_of("by", "By", &["vacuum", "vibration", "vacuum and vibration"]),
            number("vacuum_kpa", "Pressure left", "kPa", 0.0, 101.0),
            MINUTES,
        ],
    ),
    step("surplus", "Surplus struck off, base pulled", &[]),
];

const BURNOUT: &[Step] = &[
    step(
        "stood",
        "Flasks stand in the kiln",
        &[
            one_of("mouth", "Mouth", &["down", "up", "on its side"]),
            field("gap", "Air between and below them", Kind::Tick),
        ],
    ),
    step(
        "read_back",
        "Controller read back",
        &[
            needed(number("segments", "Segments", "", 1.0, 200.0)),
            needed(number("top_c", "Highest", "°C", 20.0, 1400.0)),
            needed(number("held_c", "Held at the end", "°C", 20.0, 1400.0)),
        ],
    ),
    careful(
        again(
            "check",
            "Looked at on the way",
            &[
                needed(number("kiln_c", "Kiln shows", "°C", 0.0, 1400.0)),
                one_of("fumes", "Fumes", &["none", "light", "heavy"]),
                NOTE,
            ],
        ),
        "Burning resin gives off smoke and carbon monoxide: look from outside the fumes, extraction running, door shut.",
    ),
    step(
        "colour",
        "Moulds looked at in the hold",
        &[one_of("sprue", "Sprue holes", &["clean", "grey", "black"])],
    ),
    step(
        "meter",
        "Firing done, meter read",
        &[
            number("kwh", "Electricity", "kWh", 0.0, 10_000.0),
            number("gas_kg", "Gas", "kg", 0.0, 1000.0),
        ],
    ),
];

const CAST: &[Step] = &[
    careful(
        step(
            "crucible",
            "Crucible and furnace made ready",
            &[
                one_of("crucible", "Crucible", &["sound", "worn", "new and glazed"]),
                number("preheat_min", "Preheated", "min", 0.0, 240.0),
            ],
        ),
        "Water under molten metal bursts into steam: everything that meets the melt is dry and hot. Face shield, leather, nothing that melts; a second person in call.",
    ),
    again(
        "melt",
        "Melt read",
        &[
            needed(number("melt_c", "Melt", "°C", 100.0, 2400.0)),
            one_of("by", "Read by", &["furnace", "immersion probe", "pyrometer"]),
            one_of("surface", "Surface", &["clear", "skinned over", "stirred and skimmed"]),
        ],
    ),
    step("worked", "Melted and poured", &[WORKED]),
    step("cooled", "Button lost its glow", &[number("minutes", SINCE_THE_POUR, "min", 0.0, 600.0)]),
    careful(
        step(
            "quenched",
            "Quenched",
            &[
                one_of("in", "In", &["cold water", "warm water", "air"]),
                number("flask_c", "Flask", "°C", 0.0, 1000.0),
                number("minutes", SINCE_THE_POUR, "min", 0.0, 1440.0),
            ],
        ),
        "A hot flask in water throws steam and scalding slurry: long tongs, face shield, gloves, stand back.",
    ),
    careful(
        step(
            "out",
            "Divested",
            &[
                one_of("by", "By", &["quench alone", "water jet", "hammer", "ultrasonic bath"]),
                MINUTES,
            ],
        ),
        "Spent investment is silica dust once dry: keep it wet (OSHA 29 CFR 1910.1053).",
    ),
];

const FINISH: &[Step] = &[
    again("cut_off", "Cut off", &[WORKED, one_of("with", "With", &["saw", "cutters", "disc"])]),
    careful(
        again(
            "pickled",
            "Pickled",
            &[MINUTES, one_of("bath", "Bath", &["warm citric", "warm sulphate salt", "other"])],
        ),
        "Pickle is acid: eye protection, gloves, fresh air; no iron in it, and never quench hot metal in it.",
    ),
    again(
        "measured",
        "Measured as cast, against the model",
        &[
            needed(number("mm", "Across", "mm", 0.1, 2000.0)),
            needed(one_of("side", "Side of the model", &["width", "depth", "height"])),
        ],
    ),
    again("ground", "Ground and filed", &[WORKED, NOTE]),
    again(
        "tumbled",
        "Tumbled",
        &[
            needed(number("minutes", "At the machine, by hand", "min", 0.0, 240.0)),
            number("hours", "Ran", "h", 0.0, 200.0),
            one_of(
                "media",
                "Media",
                &["ceramic", "plastic", "steel", "dry media", "magnetic pins"],
            ),
        ],
    ),
    again("sanded", "Sanded", &[WORKED, number("grit", "Down to grit", "", 40.0, 12000.0)]),
    again("soldered", "Soldered or welded", &[WORKED, NOTE]),
    again("set", "Stones set", &[WORKED, number("stones", "Stones", "", 1.0, 2000.0)]),
    careful(
        again(
            "polished",
            "Polished",
            &[WORKED, one_of("to", "To", &["satin", "bright", "mirror", "as tumbled"])],
        ),
        "No gloves at a polishing wheel; hair and sleeves tied back, eye protection, extraction.",
    ),
    again("coloured", "Patinated or plated", &[WORKED, NOTE]),
    again("cleaned", "Cleaned", &[WORKED]),
];

/// The steps of a stage, in their order.
pub(super) const fn sheet(stage: Stage) -> &'static [Step] {
    match stage {
        Stage::Print => PRINT,
        Stage::Cure => CURE,
        Stage::Invest => INVEST,
        Stage::Burnout => BURNOUT,
        Stage::Cast => CAST,
        Stage::Finish => FINISH,
    }
}

/// A step by its word in addresses.
pub(super) fn find(stage: Stage, key: &str) -> Option<&'static Step> {
    sheet(stage).iter().find(|step| step.key == key)
}

/// Of what kind the thing is that a stage's steps belong to.
pub(super) const fn kind(stage: Stage) -> &'static str {
    match stage {
        Stage::Print => "plate",
        Stage::Cure => "cure",
        Stage::Invest | Stage::Cast => "flask",
        Stage::Burnout => "load",
        Stage::Finish => "piece",
    }
}

/// Something recorded at a step that pieces can be told apart by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The stage whose sheet it is on.
    pub stage: Stage,
    /// The step.
    pub step: &'static str,
    /// The field.
    pub field: &'static str,
    step_words: &'static str,
    field_words: &'static str,
}

impl Choice {
    /// What it is called: the step and what was chosen there.
    #[must_use]
    pub fn words(&self) -> String {
        format!("{}: {}", self.step_words, self.field_words.to_lowercase())
    }

    /// A word for addresses.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{}-{}-{}", self.stage, self.step, self.field)
    }
}

/// All that is chosen from words at any step.
pub fn choices() -> impl Iterator<Item = Choice> {
    Stage::ALL.into_iter().flat_map(|stage| {
        sheet(stage).iter().flat_map(move |step| {
            step.fields.iter().filter(|field| matches!(field.kind, Kind::OneOf(_))).map(
                move |field| Choice {
                    stage,
                    step: step.key,
                    field: field.name,
                    step_words: step.words,
                    field_words: field.words,
                },
            )
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_and_their_fields_have_names_of_their_own() {
        for stage in Stage::ALL {
            let mut keys: Vec<_> = sheet(stage).iter().map(|step| step.key).collect();
            keys.sort_unstable();
            let all = keys.len();
            keys.dedup();
            assert_eq!(keys.len(), all, "{stage}");
            for step in sheet(stage) {
                let mut names: Vec<_> = step.fields.iter().map(|field| field.name).collect();
                names.sort_unstable();
                names.dedup();
                assert_eq!(names.len(), step.fields.len(), "{stage} {}", step.key);
            }
        }
        let mut names: Vec<_> = choices().map(|choice| choice.name()).collect();
        let all = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), all);
    }
}
