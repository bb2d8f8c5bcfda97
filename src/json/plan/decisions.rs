//! What is settled before planning: the key `decisions`.

use foundry::plan::{
    Accepted, Ban, DearHours, Decisions, Longer, OutOfUse, Pin, Poured, Rewet, Stability, UnderWay,
};
use serde::{Deserialize, Serialize};

/// What is settled before planning; every key may be absent.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Decisions")]
pub struct DecisionsJson {
    pub not_before_min: i64,
    pub pins: Vec<PinJson>,
    pub under_way: Vec<UnderWayJson>,
    pub out_of_use: Vec<OutOfUseJson>,
    pub bans: Vec<BanJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stability: Option<StabilityJson>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub dear_hours: Vec<DearHoursJson>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rewet: Vec<RewetJson>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub longer: Vec<LongerJson>,
}

/// Hours of the week in which heating is dear.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of DearHours")]
pub struct DearHoursJson {
    pub from_min: i64,
    pub to_min: i64,
    pub minutes_per_hour: i64,
}

/// A programme that takes longer in a kiln than it says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Longer")]
pub struct LongerJson {
    pub kiln: String,
    pub family: String,
    pub size_class: String,
    pub minutes: i64,
}

/// A flask that may be wetted again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Rewet")]
pub struct RewetJson {
    pub flask: String,
    pub until_min: i64,
    pub minutes: i64,
}

impl DecisionsJson {
    /// Whether nothing is settled.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// A choice the planner keeps: `{flask, kiln, start_min}` or `{flask, with}`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged, expecting = "expected {flask, kiln, start_min} or {flask, with}")]
#[allow(missing_docs, reason = "the keys are explained at the fields of Pin")]
pub enum PinJson {
    Load { flask: String, kiln: String, start_min: i64 },
    Together { flask: String, with: String },
}

/// A load already in a kiln.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of UnderWay")]
pub struct UnderWayJson {
    pub kiln: String,
    pub start_min: i64,
    pub flasks: Vec<String>,
    #[serde(default)]
    pub poured: Vec<PouredJson>,
}

/// A pour that has happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Poured")]
pub struct PouredJson {
    pub flask: String,
    pub start_min: i64,
}

/// A time at which a kiln cannot be used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of OutOfUse")]
pub struct OutOfUseJson {
    pub kiln: String,
    pub from_min: i64,
    pub to_min: i64,
}

/// A kiln a flask may not go into.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Ban")]
pub struct BanJson {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flask: Option<String>,
    pub kiln: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until_min: Option<i64>,
}

/// What moving away from an accepted plan costs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Stability")]
pub struct StabilityJson {
    pub accepted: Vec<AcceptedJson>,
    pub minutes_per_move: i64,
}

/// The accepted place of a flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Accepted")]
pub struct AcceptedJson {
    pub flask: String,
    pub kiln: String,
    pub start_min: i64,
}

impl From<DecisionsJson> for Decisions {
    fn from(json: DecisionsJson) -> Self {
        Self {
            not_before_min: json.not_before_min,
            pins: json.pins.into_iter().map(Pin::from).collect(),
            under_way: json.under_way.into_iter().map(UnderWay::from).collect(),
            out_of_use: json
                .out_of_use
                .into_iter()
                .map(|out| OutOfUse { kiln: out.kiln, from_min: out.from_min, to_min: out.to_min })
                .collect(),
            bans: json
                .bans
                .into_iter()
                .map(|ban| Ban { flask: ban.flask, kiln: ban.kiln, until_min: ban.until_min })
                .collect(),
            stability: json.stability.map(Stability::from),
            dear_hours: json
                .dear_hours
                .into_iter()
                .map(|dear| DearHours {
                    from_min: dear.from_min,
                    to_min: dear.to_min,
                    minutes_per_hour: dear.minutes_per_hour,
                })
                .collect(),
            rewet: json
                .rewet
                .into_iter()
                .map(|one| Rewet {
                    flask: one.flask,
                    until_min: one.until_min,
                    minutes: one.minutes,
                })
                .collect(),
            longer: json
                .longer
                .into_iter()
                .map(|one| Longer {
                    kiln: one.kiln,
                    family: one.family,
                    size_class: one.size_class,
                    minutes: one.minutes,
                })
                .collect(),
        }
    }
}

impl From<PinJson> for Pin {
    fn from(json: PinJson) -> Self {
        match json {
            PinJson::Load { flask, kiln, start_min } => Self::Load { flask, kiln, start_min },
            PinJson::Together { flask, with } => Self::Together { flask, with },
        }
    }
}

impl From<&Pin> for PinJson {
    fn from(pin: &Pin) -> Self {
        match pin.clone() {
            Pin::Load { flask, kiln, start_min } => Self::Load { flask, kiln, start_min },
            Pin::Together { flask, with } => Self::Together { flask, with },
        }
    }
}

impl From<UnderWayJson> for UnderWay {
    fn from(json: UnderWayJson) -> Self {
        Self {
            kiln: json.kiln,
            start_min: json.start_min,
            flasks: json.flasks,
            poured: json
                .poured
                .into_iter()
                .map(|pour| Poured { flask: pour.flask, start_min: pour.start_min })
                .collect(),
        }
    }
}

impl From<StabilityJson> for Stability {
    fn from(json: StabilityJson) -> Self {
        Self {
            accepted: json
                .accepted
                .into_iter()
                .map(|one| Accepted { flask: one.flask, kiln: one.kiln, start_min: one.start_min })
                .collect(),
            minutes_per_move: json.minutes_per_move,
        }
    }
}
