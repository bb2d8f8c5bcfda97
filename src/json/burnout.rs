//! The written shapes of a kiln programme and of a computed burnout.

use foundry::heat::{
    Burnout, Finding, HeatRefusal, KelvinsPerHour, Pace, Programme, Segment, Severity, Verdict,
};
use foundry::quantity::{Celsius, Minutes};
use serde::{Deserialize, Serialize};

/// A programme: ramps and holds, each in °C or °F.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeJson {
    /// Where the kiln starts, in °C; 20 °C when neither start is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_c: Option<f64>,
    /// Where the kiln starts, in °F.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_f: Option<f64>,
    /// Ramps and holds in order.
    pub segments: Vec<SegmentJson>,
}

/// A ramp (a target with a rate or a time) or a hold.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SegmentJson {
    /// Target of a ramp, in °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ramp_to_c: Option<f64>,
    /// Target of a ramp, in °F.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ramp_to_f: Option<f64>,
    /// Rate of a ramp, in K/h.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub k_per_hour: Option<f64>,
    /// Rate of a ramp, in °F/h.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub f_per_hour: Option<f64>,
    /// How long a ramp takes, instead of a rate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minutes: Option<f64>,
    /// How long a hold takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hold_min: Option<f64>,
}

/// Why a written programme was not accepted.
#[derive(Debug, thiserror::Error)]
pub enum ProgrammeRefusal {
    /// It is not the JSON that is asked for.
    #[error("{at}: {why}")]
    Unreadable {
        /// Where in the file.
        at: String,
        /// What is wrong there.
        why: String,
    },
    /// Both starts.
    #[error("give start_c or start_f, not both")]
    TwoStarts,
    /// A segment whose keys do not make a ramp or a hold.
    #[error(
        "segment {segment} is neither a ramp nor a hold; write {{\"ramp_to_c\": 150, \"k_per_hour\": 150}}, {{\"ramp_to_f\": 300, \"f_per_hour\": 270}}, “minutes” in place of a rate, or {{\"hold_min\": 120}}"
    )]
    Unclear {
        /// The segment, counted from 1.
        segment: usize,
    },
    /// A segment that cannot be taken.
    #[error("segment {segment}: {why}")]
    Segment {
        /// The segment, counted from 1.
        segment: usize,
        /// What is wrong with it.
        why: HeatRefusal,
    },
    /// A programme that cannot be run.
    #[error(transparent)]
    Heat(#[from] HeatRefusal),
}

/// Reads a written programme.
///
/// # Errors
/// Text that is not in this form, and what [`Programme::new`] refuses.
pub fn read_programme(text: &str) -> Result<Programme, ProgrammeRefusal> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let read: ProgrammeJson = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        ProgrammeRefusal::Unreadable {
            at: error.path().to_string(),
            why: error.inner().to_string(),
        }
    })?;
    reader.end().map_err(|error| ProgrammeRefusal::Unreadable {
        at: "after the programme".to_owned(),
        why: error.to_string(),
    })?;
    let start = match (read.start_c, read.start_f) {
        (Some(_), Some(_)) => return Err(ProgrammeRefusal::TwoStarts),
        (Some(start_c), None) => Celsius::new(start_c).map_err(HeatRefusal::from)?,
        (None, Some(start_f)) => Celsius::from_fahrenheit(start_f).map_err(HeatRefusal::from)?,
        (None, None) => Celsius::of(20.0),
    };
    let segments = read
        .segments
        .iter()
        .enumerate()
        .map(|(n, segment)| segment.read(n + 1))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Programme::new(start, segments)?)
}

impl SegmentJson {
    fn read(self, segment: usize) -> Result<Segment, ProgrammeRefusal> {
        let wrong = |why: HeatRefusal| ProgrammeRefusal::Segment { segment, why };
        let forward = |minutes: f64| {
            if minutes <= 0.0 {
                return Err(HeatRefusal::Backwards { segment, minutes }.into());
            }
            Minutes::new(minutes).map_err(|why| wrong(why.into()))
        };
        let target = match (self.ramp_to_c, self.ramp_to_f, self.hold_min) {
            (Some(to_c), None, None) => Some(Celsius::new(to_c)),
            (None, Some(to_f), None) => Some(Celsius::from_fahrenheit(to_f)),
            (None, None, Some(_)) => None,
            _ => return Err(ProgrammeRefusal::Unclear { segment }),
        };
        let target = target.transpose().map_err(|why| wrong(why.into()))?;
        match (target, self.k_per_hour, self.f_per_hour, self.minutes, self.hold_min) {
            (Some(to), Some(rate), None, None, None) => {
                let rate = KelvinsPerHour::new(rate).map_err(|why| wrong(why.into()))?;
                Ok(Segment::Ramp { to, pace: Pace::Rate(rate) })
            }
            (Some(to), None, Some(rate), None, None) => {
                let rate = KelvinsPerHour::from_fahrenheit_per_hour(rate).map_err(wrong)?;
                Ok(Segment::Ramp { to, pace: Pace::Rate(rate) })
            }
            (Some(to), None, None, Some(minutes), None) => {
                Ok(Segment::Ramp { to, pace: Pace::Within(forward(minutes)?) })
            }
            (None, None, None, None, Some(minutes)) => {
                Ok(Segment::Hold { minutes: forward(minutes)? })
            }
            _ => Err(ProgrammeRefusal::Unclear { segment }),
        }
    }
}

/// A computed burnout: curves, when the core passes each threshold, and what was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BurnoutJson {
    /// How long it takes.
    pub total_min: f64,
    /// Whether the flask is ready to be cast at the end.
    pub ready: bool,
    /// The temperature it is to be cast at.
    pub cast_c: f64,
    /// Minutes from the start.
    pub minutes: Vec<f64>,
    /// The kiln at those minutes.
    pub kiln_c: Vec<f64>,
    /// The flask's wall.
    pub wall_c: Vec<f64>,
    /// Half way from axis to wall.
    pub mid_c: Vec<f64>,
    /// The flask's core.
    pub core_c: Vec<f64>,
    /// Temperatures that matter and when they are passed.
    pub thresholds: Vec<ThresholdJson>,
    /// How long the core is above the temperature at which carbon burns away.
    pub core_above_burn_off_min: f64,
    /// Core less wall at the end.
    pub difference_at_pour_k: f64,
    /// The core at the end.
    pub core_at_pour_c: f64,
    /// Heat the flask took up.
    pub flask_kwh: f64,
    /// What was found, on paper and in the computed burnout.
    pub findings: Vec<FindingJson>,
    /// The same in sentences, with what the model assumes.
    pub warnings: Vec<String>,
}

/// A temperature that matters.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ThresholdJson {
    /// What happens there.
    pub name: String,
    /// The temperature.
    pub celsius: f64,
    /// When the core passes it; none when it never does.
    pub core_at_min: Option<f64>,
    /// When the wall does.
    pub wall_at_min: Option<f64>,
}

/// One thing found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindingJson {
    /// `note`, `caution` or `danger`.
    pub severity: String,
    /// Where in the programme, when it has a place.
    pub minute: Option<f64>,
    /// The sentence.
    pub text: String,
}

impl From<&Finding> for FindingJson {
    fn from(finding: &Finding) -> Self {
        let severity = match finding.severity {
            Severity::Note => "note",
            Severity::Caution => "caution",
            Severity::Danger => "danger",
        };
        Self {
            severity: severity.to_owned(),
            minute: finding.minute.map(Minutes::get),
            text: finding.concern.to_string(),
        }
    }
}

impl BurnoutJson {
    /// Writes down a burnout; `on_paper` is what the programme alone showed.
    #[must_use]
    pub fn new(burnout: &Burnout, verdict: &Verdict, on_paper: &[Finding], cast: Celsius) -> Self {
        // Digits beyond a thousandth of a degree are noise of the computation.
        let curve = |of: fn(&foundry::heat::Sample) -> f64| {
            burnout.samples.iter().map(|sample| (of(sample) * 1000.0).round() / 1000.0).collect()
        };
        let findings: Vec<FindingJson> =
            on_paper.iter().chain(&verdict.findings).map(FindingJson::from).collect();
        Self {
            total_min: burnout.total.get(),
            ready: verdict.ready,
            cast_c: cast.get(),
            minutes: curve(|sample| sample.minute.get()),
            kiln_c: curve(|sample| sample.kiln.get()),
            wall_c: curve(|sample| sample.wall.get()),
            mid_c: curve(|sample| sample.mid.get()),
            core_c: curve(|sample| sample.core.get()),
            thresholds: verdict
                .passages
                .iter()
                .map(|passage| ThresholdJson {
                    name: passage.name.to_owned(),
                    celsius: passage.temperature.get(),
                    core_at_min: passage.core.map(Minutes::get),
                    wall_at_min: passage.wall.map(Minutes::get),
                })
                .collect(),
            core_above_burn_off_min: verdict.core_above_burn_off.get(),
            difference_at_pour_k: verdict.difference_at_pour.get(),
            core_at_pour_c: verdict.core_at_pour.get(),
            flask_kwh: burnout.flask_kwh,
            warnings: findings
                .iter()
                .map(|finding| format!("{}: {}", finding.severity, finding.text))
                .collect(),
            findings,
        }
    }
}
