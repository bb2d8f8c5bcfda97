//! The heat line: a firing drawn to scale, with the flask's core lagging behind it.

use std::fmt::Write as _;

use foundry::heat::{Burnout, Grid, Kiln, PoweredKiln, Sample, simulate};
use foundry::quantity::Celsius;

use super::mould::Mould;
use super::programme::{ROOM_C, SegmentRow, as_run};

/// A kiln that takes no longer than this beyond its programme keeps to it, min.
const KEEPS_MIN: f64 = 10.0;

/// A line may be drawn so many kelvins off: less than half a pixel on the plan's lanes.
const SEEN_K: f64 = 4.0;

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

/// What stands in a kiln while it fires.
#[derive(Clone, Debug, PartialEq)]
pub struct Inside {
    /// The largest flask, which lags most.
    pub mould: Mould,
    /// How many flasks there are.
    pub flasks: u32,
    /// The kiln as it is known; without it, one that follows its programme whatever stands in it.
    pub kiln: Option<PoweredKiln>,
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
    /// How much longer it takes because the kiln cannot follow, in minutes.
    pub waited_min: f64,
    /// The firing as computed.
    pub burnout: Option<Burnout>,
}

impl HeatLine {
    /// How many minutes longer than its programme it takes, rounded up; none where the kiln keeps
    /// to it.
    #[must_use]
    pub fn longer_min(&self) -> Option<i64> {
        // A hair less, for whole minutes that were added up from seconds.
        (self.waited_min >= KEEPS_MIN).then(|| (self.waited_min - 1.0e-6).ceil() as i64)
    }
}

/// Draws a programme: with what stands in the kiln as it is computed, else as it is asked for.
#[must_use]
pub(super) fn heat_line(segments: &[SegmentRow], inside: Option<&Inside>) -> HeatLine {
    let minutes = super::total_minutes(segments);
    let burnout = inside.and_then(|inside| burnout(segments, inside));
    let drawn = |of: fn(&Sample) -> Celsius| {
        let samples = burnout.iter().flat_map(|burnout| &burnout.samples);
        let points: Vec<_> =
            samples.map(|sample| (sample.minute.get(), of(sample).get())).collect();
        thinned(&points)
    };
    let core = drawn(|sample| sample.core);
    let mut kiln = drawn(|sample| sample.kiln);
    if kiln.is_empty() {
        kiln.push((0.0, ROOM_C));
        let mut at = 0.0;
        for segment in segments {
            at += f64::from(segment.minutes);
            kiln.push((at, segment.target_c));
        }
    }
    let waited_min = burnout.as_ref().map_or(0.0, |burnout| burnout.waited.get());
    HeatLine { kiln, core, minutes, waited_min, burnout }
}

fn burnout(segments: &[SegmentRow], inside: &Inside) -> Option<Burnout> {
    let programme = as_run(segments).ok()?;
    let (body, _) = inside.mould.body().ok()?;
    let kiln = match inside.kiln {
        Some(kiln) => Kiln::Powered { kiln, flasks: inside.flasks },
        None => Kiln::Ideal,
    };
    simulate(&body, &programme, &kiln, &Grid::default()).ok()
}

/// A line of the same shape with fewer points: none of those left out lies further from it than
/// can be seen (Ramer 1972, Douglas and Peucker 1973, with the distance taken upright).
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut kept = vec![false; points.len()];
    kept[0] = true;
    kept[last] = true;
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let ((x0, y0), (x1, y1)) = (points[from], points[to]);
        let off = |n: usize| {
            let (x, y) = points[n];
            (y - (y0 + (y1 - y0) * (x - x0) / (x1 - x0).max(f64::MIN_POSITIVE))).abs()
        };
        let furthest = (from + 1..to).max_by(|a, b| off(*a).total_cmp(&off(*b)));
        if let Some(n) = furthest.filter(|n| off(*n) > SEEN_K) {
            kept[n] = true;
            open.push((from, n));
            open.push((n, to));
        }
    }
    points.iter().zip(kept).filter(|(_, kept)| *kept).map(|(point, _)| *point).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;
    use crate::kilns::SegmentKind;
    use foundry::heat::{Behind, Binder};

    fn firing() -> [SegmentRow; 6] {
        [
            SegmentRow { kind: SegmentKind::Ramp, target_c: 150.0, minutes: 60 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 150.0, minutes: 120 },
            SegmentRow { kind: SegmentKind::Ramp, target_c: 730.0, minutes: 180 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 730.0, minutes: 180 },
            SegmentRow { kind: SegmentKind::Ramp, target_c: 520.0, minutes: 60 },
            SegmentRow { kind: SegmentKind::Hold, target_c: 520.0, minutes: 90 },
        ]
    }

    fn inside(kiln: Option<PoweredKiln>) -> Inside {
        let mould = Mould {
            inside_mm: 80.0,
            height_mm: 120.0,
            wall_mm: 1.6,
            binder: Binder::Gypsum,
            water_per_100: 40.0,
        };
        Inside { mould, flasks: 4, kiln }
    }

    fn at(points: &[(f64, f64)], minute: f64) -> f64 {
        let n = points.partition_point(|point| point.0 < minute).clamp(1, points.len() - 1);
        let ((x0, y0), (x1, y1)) = (points[n - 1], points[n]);
        y0 + (y1 - y0) * (minute - x0) / (x1 - x0)
    }

    #[test]
    fn the_core_lags_behind_the_kiln_and_ends_near_it() {
        let line = heat_line(&firing(), Some(&inside(None)));
        assert_eq!(line.minutes, 690);
        assert!((at(&line.kiln, 690.0) - 520.0).abs() < 1.0);
        assert!(at(&line.core, 300.0) < 540.0, "half way up the second ramp the core is behind");
        assert!((line.core.last().unwrap().1 - 520.0).abs() < 40.0);
        assert_eq!((line.waited_min, line.longer_min()), (0.0, None));
    }

    #[test]
    fn a_weak_kiln_is_drawn_as_slow_as_it_is_and_tells_its_energy() {
        let kiln = |power_w: f64| PoweredKiln {
            power_w,
            loss_w_k: 1.2,
            lining_j_k: 20_000.0,
            furniture_j_k: 0.0,
            top: Celsius::of(1050.0),
            room: Celsius::of(ROOM_C),
            behind: Behind::Waits,
        };
        let strong = heat_line(&firing(), Some(&inside(Some(kiln(6_000.0)))));
        let weak = heat_line(&firing(), Some(&inside(Some(kiln(1_600.0)))));
        assert!(weak.waited_min > strong.waited_min + 20.0, "{}", weak.waited_min);
        let longer = weak.longer_min().unwrap() as f64;
        assert!(longer >= weak.waited_min - 1.0e-6 && longer < weak.waited_min + 1.0);
        assert!(weak.kiln.last().unwrap().0 > 710.0);
        assert!(strong.burnout.unwrap().kiln_kwh.unwrap() > 1.0);
    }

    #[test]
    fn without_a_flask_the_programme_is_drawn() {
        let line = heat_line(&firing(), None);
        assert_eq!(line.kiln.last(), Some(&(690.0, 520.0)));
        assert!(line.core.is_empty() && line.burnout.is_none());
    }

    #[test]
    fn points_that_are_left_out_could_not_be_seen() {
        let points: Vec<(f64, f64)> =
            (0..500).map(|n| (f64::from(n), 300.0 + 200.0 * (f64::from(n) / 60.0).sin())).collect();
        let few = thinned(&points);
        assert!(few.len() < 60, "{}", few.len());
        for (x, y) in &points {
            assert!((at(&few, *x) - y).abs() <= SEEN_K + 1e-9);
        }
        assert!(thinned(&[]).is_empty());
        assert_eq!(thinned(&[(1.0, 2.0)]), [(1.0, 2.0)]);
    }
}
