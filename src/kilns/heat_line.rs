//! The heat line: a firing drawn to scale, with the flask's core lagging behind it.

use std::fmt::Write as _;

use foundry::heat::{FlaskBody, Grid, GypsumMix, Kiln, simulate};
use foundry::quantity::Millimetres;

use super::programme::{ROOM_C, SegmentRow, as_run};

/// Where a drawing puts minutes and degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// Width of a minute.
    pub per_minute: f64,
    /// Height of a degree.
    pub per_degree: f64,
    /// Where no degree lies, from the top.
    pub floor: f64,
}

impl Axis {
    /// A polyline's path for points of minutes and degrees, `start` minutes in.
    #[must_use]
    pub fn path(&self, start: f64, points: &[(f64, f64)]) -> String {
        let mut path = String::with_capacity(points.len() * 14);
        for (n, (minute, celsius)) in points.iter().enumerate() {
            let x = (start + minute) * self.per_minute;
            let y = self.floor - celsius * self.per_degree;
            let _ = write!(path, "{}{x:.1} {y:.1}", if n == 0 { 'M' } else { 'L' });
        }
        path
    }
}

/// A firing: what the kiln does, and what the core of its largest flask does.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HeatLine {
    /// Minutes from the start and degrees of the kiln.
    pub kiln: Vec<(f64, f64)>,
    /// The same of the core; empty when it could not be computed.
    pub core: Vec<(f64, f64)>,
    /// How long the programme lasts.
    pub minutes: i64,
    /// Where the core stands at the end of the programme.
    pub core_at_end_c: Option<f64>,
}

/// Draws a programme; `flask` is the inside diameter and height of its largest
/// flask and the parts of water in its investment, whose core is then computed.
#[must_use]
pub fn heat_line(segments: &[SegmentRow], flask: Option<(f64, f64, f64)>) -> HeatLine {
    let mut kiln = vec![(0.0, ROOM_C)];
    let mut at = 0.0;
    for segment in segments {
        at += f64::from(segment.minutes);
        kiln.push((at, segment.target_c));
    }
    let core = flask.and_then(|flask| core(segments, flask)).unwrap_or_default();
    let core_at_end_c = core.last().map(|(_, celsius)| *celsius);
    HeatLine { kiln, core, minutes: super::total_minutes(segments), core_at_end_c }
}

fn core(
    segments: &[SegmentRow],
    (diameter, height, water): (f64, f64, f64),
) -> Option<Vec<(f64, f64)>> {
    let programme = as_run(segments).ok()?;
    let mix = GypsumMix { water_per_100: water, ..GypsumMix::default() };
    let (body, _) = FlaskBody::gypsum_bonded(
        Millimetres::new(diameter).ok()?,
        Millimetres::new(height).ok()?,
        mix,
    )
    .ok()?;
    let burnout = simulate(&body, &programme, &Kiln::Ideal, &Grid::default()).ok()?;
    // A point every ten minutes draws the line; more are only bytes.
    let every = (burnout.samples.len() / 120).max(1);
    let last = burnout.samples.len().checked_sub(1)?;
    Some(
        burnout
            .samples
            .iter()
            .enumerate()
            .filter(|(n, _)| n % every == 0 || *n == last)
            .map(|(_, sample)| (sample.minute.get(), sample.core.get()))
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kilns::SegmentKind;

    #[test]
    fn the_core_lags_behind_the_kiln_and_ends_near_it() {
        let firing = [
            SegmentRow { kind: SegmentKind::Ramp, target_c: 150.0, minutes: 60 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 150.0, minutes: 120 },
            SegmentRow { kind: SegmentKind::Ramp, target_c: 730.0, minutes: 180 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 730.0, minutes: 180 },
            SegmentRow { kind: SegmentKind::Ramp, target_c: 520.0, minutes: 60 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 520.0, minutes: 90 },
        ];
        let line = heat_line(&firing, Some((80.0, 120.0, 40.0)));
        assert_eq!(line.minutes, 690);
        assert_eq!(line.kiln.last(), Some(&(690.0, 520.0)));
        let at = |minute: f64| {
            line.core
                .iter()
                .min_by(|a, b| (a.0 - minute).abs().total_cmp(&(b.0 - minute).abs()))
                .unwrap()
                .1
        };
        assert!(at(300.0) < 540.0, "half way up the second ramp the core is behind the kiln");
        assert!((line.core_at_end_c.unwrap() - 520.0).abs() < 40.0);
    }
}
