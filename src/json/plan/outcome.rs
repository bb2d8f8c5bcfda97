//! A plan.

use foundry::plan::{
    Bound, Load, Objective, Pin, Placed, Plan, Pour, Reason, UnkeptPin, Unplanned,
};
use serde::{Deserialize, Serialize};

use super::decisions::PinJson;

/// A plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Plan")]
pub struct PlanJson {
    pub instance: String,
    pub loads: Vec<LoadJson>,
    pub pours: Vec<PourJson>,
    pub objective: ObjectiveJson,
    pub bound: BoundJson,
    #[serde(default)]
    pub proved_optimal: bool,
    /// How long the planning took.
    #[serde(default)]
    pub seconds: f64,
    #[serde(default)]
    pub unplanned: Vec<UnplannedJson>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unkept: Vec<UnkeptJson>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rewetted: Vec<String>,
    #[serde(default, skip_serializing_if = "nothing")]
    pub dear_min: i64,
}

fn nothing(minutes: &i64) -> bool {
    *minutes == 0
}

/// A pin that cannot be kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UnkeptJson {
    /// The pin.
    pub pin: PinJson,
    /// Why it cannot be kept.
    pub why: String,
}

/// A kiln load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Load")]
pub struct LoadJson {
    pub kiln: String,
    pub start_min: i64,
    pub flasks: Vec<PlacedJson>,
}

/// A flask on a kiln's floor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Placed")]
pub struct PlacedJson {
    pub id: String,
    pub x_mm: f64,
    pub y_mm: f64,
}

/// A pour.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Pour")]
pub struct PourJson {
    pub flask: String,
    pub start_min: i64,
}

/// What a plan achieves.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Objective")]
pub struct ObjectiveJson {
    pub weighted_tardiness: i64,
    pub loads: i64,
    pub makespan_min: i64,
}

/// What no plan can undercut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Bound")]
pub struct BoundJson {
    pub weighted_tardiness: i64,
    pub loads: i64,
}

/// A flask left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Unplanned")]
pub struct UnplannedJson {
    pub flask: String,
    pub reason: String,
}

impl PlanJson {
    /// The written form of a plan that took so many seconds.
    #[must_use]
    pub fn new(plan: &Plan, seconds: f64) -> Self {
        Self {
            instance: plan.instance.clone(),
            loads: plan.loads.iter().map(LoadJson::from).collect(),
            pours: plan
                .pours
                .iter()
                .map(|pour| PourJson { flask: pour.flask.clone(), start_min: pour.start_min })
                .collect(),
            objective: ObjectiveJson {
                weighted_tardiness: plan.objective.weighted_tardiness,
                loads: plan.objective.loads,
                makespan_min: plan.objective.makespan_min,
            },
            bound: BoundJson {
                weighted_tardiness: plan.bound.weighted_tardiness,
                loads: plan.bound.loads,
            },
            proved_optimal: plan.proved_optimal,
            seconds,
            unplanned: plan
                .unplanned
                .iter()
                .map(|one| UnplannedJson {
                    flask: one.flask.clone(),
                    reason: one.reason.to_string(),
                })
                .collect(),
            unkept: plan
                .unkept
                .iter()
                .map(|one| UnkeptJson { pin: PinJson::from(&one.pin), why: one.why.clone() })
                .collect(),
            moved: plan.moved.clone(),
            rewetted: plan.rewetted.clone(),
            dear_min: plan.dear_min,
        }
    }
}

impl From<&Load> for LoadJson {
    fn from(load: &Load) -> Self {
        Self {
            kiln: load.kiln.clone(),
            start_min: load.start_min,
            flasks: load
                .flasks
                .iter()
                .map(|one| PlacedJson { id: one.flask.clone(), x_mm: one.x_mm, y_mm: one.y_mm })
                .collect(),
        }
    }
}

impl From<PlanJson> for Plan {
    fn from(json: PlanJson) -> Self {
        let load = |load: LoadJson| Load {
            kiln: load.kiln,
            start_min: load.start_min,
            flasks: load
                .flasks
                .into_iter()
                .map(|one| Placed { flask: one.id, x_mm: one.x_mm, y_mm: one.y_mm })
                .collect(),
        };
        Self {
            instance: json.instance,
            loads: json.loads.into_iter().map(load).collect(),
            pours: json
                .pours
                .into_iter()
                .map(|pour| Pour { flask: pour.flask, start_min: pour.start_min })
                .collect(),
            objective: Objective {
                weighted_tardiness: json.objective.weighted_tardiness,
                loads: json.objective.loads,
                makespan_min: json.objective.makespan_min,
            },
            bound: Bound {
                weighted_tardiness: json.bound.weighted_tardiness,
                loads: json.bound.loads,
            },
            proved_optimal: json.proved_optimal,
            unplanned: json
                .unplanned
                .into_iter()
                .map(|one| Unplanned { flask: one.flask, reason: Reason::Said(one.reason) })
                .collect(),
            unkept: json
                .unkept
                .into_iter()
                .map(|one| UnkeptPin { pin: Pin::from(one.pin), why: one.why })
                .collect(),
            rewetted: json.rewetted,
            dear_min: json.dear_min,
            moved: json.moved,
        }
    }
}
