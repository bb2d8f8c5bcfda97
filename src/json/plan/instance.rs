//! `kiln-plan-instance/1`.

use std::collections::BTreeMap;

use foundry::plan::{
    Calendar, Clearance, Family, Flask, Kiln, Problem, Programme, Segment, SegmentKind,
    SizeProgramme, SpecialDay, Staffed,
};
use serde::{Deserialize, Serialize};

use super::decisions::DecisionsJson;

/// A planning problem.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Problem")]
pub struct InstanceJson {
    pub schema: String,
    pub id: String,
    pub horizon_min: i64,
    pub calendar: CalendarJson,
    pub load_min: i64,
    pub pour_min: i64,
    pub alloy_change_min: i64,
    pub max_hold_min: i64,
    pub max_pour_span_min: i64,
    pub ramp_limit: i64,
    pub clearance: ClearanceJson,
    pub kilns: Vec<KilnJson>,
    pub families: Vec<FamilyJson>,
    pub incompatible: Vec<[String; 2]>,
    pub flasks: Vec<FlaskJson>,
    #[serde(default, skip_serializing_if = "DecisionsJson::is_empty")]
    pub decisions: DecisionsJson,
}

/// Staffed hours.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CalendarJson {
    /// Intervals of minutes of the day, by day of the week.
    pub week: WeekJson,
    /// Numbers of days with nobody there.
    #[serde(default)]
    pub closed_days: Vec<i64>,
    /// Days with intervals of their own in place of their week's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub special_days: Vec<SpecialDayJson>,
}

/// A day with intervals of its own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpecialDayJson {
    /// The number of the day.
    pub day: i64,
    /// Its intervals of minutes of the day; none when nobody is there.
    pub hours: Vec<[i64; 2]>,
}

/// Staffed intervals of each day of the week; a day that is absent is closed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[allow(missing_docs, reason = "days of the week")]
pub struct WeekJson {
    pub mon: Vec<[i64; 2]>,
    pub tue: Vec<[i64; 2]>,
    pub wed: Vec<[i64; 2]>,
    pub thu: Vec<[i64; 2]>,
    pub fri: Vec<[i64; 2]>,
    pub sat: Vec<[i64; 2]>,
    pub sun: Vec<[i64; 2]>,
}

/// Free space around flasks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Clearance")]
pub struct ClearanceJson {
    pub flask_mm: f64,
    pub wall_mm: f64,
    pub top_mm: f64,
}

/// A kiln.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Kiln")]
pub struct KilnJson {
    pub id: String,
    pub width_mm: f64,
    pub depth_mm: f64,
    pub height_mm: f64,
    pub cool_min_per_100c: i64,
    pub turnaround_min: i64,
    pub available_min: i64,
}

/// A family.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FamilyJson {
    /// Its name.
    pub id: String,
    /// The programme for each size class.
    pub programmes: BTreeMap<String, ProgrammeJson>,
}

/// A programme.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProgrammeJson {
    /// `["ramp", minutes]` or `["hold", minutes]`, in order.
    pub segments: Vec<(SegmentKindJson, i64)>,
}

/// What a kiln does during a segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs, reason = "the words of the trade")]
pub enum SegmentKindJson {
    Ramp,
    Hold,
}

/// A flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the keys are explained at the fields of Flask")]
pub struct FlaskJson {
    pub id: String,
    pub diameter_mm: f64,
    pub height_mm: f64,
    pub size_class: String,
    pub family: String,
    pub ready_min: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub latest_start_min: Option<i64>,
    pub cast_temp_c: i64,
    pub alloy: String,
    pub lead_min: i64,
    pub due_min: i64,
    pub weight: i64,
}

impl From<InstanceJson> for Problem {
    fn from(json: InstanceJson) -> Self {
        Self {
            id: json.id,
            horizon_min: json.horizon_min,
            calendar: json.calendar.into(),
            load_min: json.load_min,
            pour_min: json.pour_min,
            alloy_change_min: json.alloy_change_min,
            max_hold_min: json.max_hold_min,
            max_pour_span_min: json.max_pour_span_min,
            ramp_limit: json.ramp_limit,
            clearance: Clearance {
                flask_mm: json.clearance.flask_mm,
                wall_mm: json.clearance.wall_mm,
                top_mm: json.clearance.top_mm,
            },
            kilns: json.kilns.into_iter().map(Kiln::from).collect(),
            families: json.families.into_iter().map(Family::from).collect(),
            incompatible: json.incompatible,
            flasks: json.flasks.into_iter().map(Flask::from).collect(),
            decisions: json.decisions.into(),
        }
    }
}

impl From<CalendarJson> for Calendar {
    fn from(json: CalendarJson) -> Self {
        let WeekJson { mon, tue, wed, thu, fri, sat, sun } = json.week;
        let staffed = |day: Vec<[i64; 2]>| {
            day.into_iter().map(|[from_min, to_min]| Staffed { from_min, to_min }).collect()
        };
        Self {
            week: [mon, tue, wed, thu, fri, sat, sun].map(staffed),
            closed_days: json.closed_days,
            special_days: json
                .special_days
                .into_iter()
                .map(|one| SpecialDay { day: one.day, hours: staffed(one.hours) })
                .collect(),
        }
    }
}

impl From<KilnJson> for Kiln {
    fn from(json: KilnJson) -> Self {
        Self {
            id: json.id,
            width_mm: json.width_mm,
            depth_mm: json.depth_mm,
            height_mm: json.height_mm,
            cool_min_per_100c: json.cool_min_per_100c,
            turnaround_min: json.turnaround_min,
            available_min: json.available_min,
        }
    }
}

impl From<FamilyJson> for Family {
    fn from(json: FamilyJson) -> Self {
        let programme = |written: ProgrammeJson| Programme {
            segments: written
                .segments
                .into_iter()
                .map(|(kind, minutes)| Segment {
                    kind: match kind {
                        SegmentKindJson::Ramp => SegmentKind::Ramp,
                        SegmentKindJson::Hold => SegmentKind::Hold,
                    },
                    minutes,
                })
                .collect(),
        };
        Self {
            id: json.id,
            programmes: json
                .programmes
                .into_iter()
                .map(|(size_class, written)| SizeProgramme {
                    size_class,
                    programme: programme(written),
                })
                .collect(),
        }
    }
}

impl From<FlaskJson> for Flask {
    fn from(json: FlaskJson) -> Self {
        Self {
            id: json.id,
            diameter_mm: json.diameter_mm,
            height_mm: json.height_mm,
            size_class: json.size_class,
            family: json.family,
            ready_min: json.ready_min,
            latest_start_min: json.latest_start_min,
            cast_temp_c: json.cast_temp_c,
            alloy: json.alloy,
            lead_min: json.lead_min,
            due_min: json.due_min,
            weight: json.weight,
        }
    }
}
