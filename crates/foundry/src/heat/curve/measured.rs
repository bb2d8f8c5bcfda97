//! A measured curve, and readings put together to one.

use super::columns::Scale;
use super::note::{CurveRefusal, ReadNote};
use super::stamp::{DayPlace, Stamp};
use crate::quantity::{Celsius, Minutes};

/// One moment of a measured curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredPoint {
    /// Minutes from the first point.
    pub minute: Minutes,
    /// The kiln.
    pub kiln: Celsius,
    /// What the controller asked for, if it wrote it down.
    pub asked: Option<Celsius>,
}

/// A measured curve: points in rising order of time.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredCurve {
    points: Vec<MeasuredPoint>,
}

impl MeasuredCurve {
    /// Takes points in rising order of time.
    ///
    /// # Refuses
    /// Fewer than two points, and points that do not rise in time.
    pub fn new(points: Vec<MeasuredPoint>) -> Result<Self, CurveRefusal> {
        if points.len() < 2 {
            return Err(CurveRefusal::TooFewPoints { found: points.len() });
        }
        if let Some(at) = points.windows(2).position(|pair| pair[1].minute <= pair[0].minute) {
            return Err(CurveRefusal::TimeRunsBack { line: at + 2 });
        }
        Ok(Self { points })
    }

    /// The points.
    #[must_use]
    pub fn points(&self) -> &[MeasuredPoint] {
        &self.points
    }

    /// From the first point to the last.
    #[must_use]
    pub fn duration(&self) -> Minutes {
        self.points[self.points.len() - 1].minute - self.points[0].minute
    }

    /// The kiln at a minute, straight between points; `None` outside the curve.
    #[must_use]
    pub fn at(&self, minute: Minutes) -> Option<Celsius> {
        let next = self.points.partition_point(|point| point.minute < minute);
        let after = self.points.get(next)?;
        if after.minute == minute {
            return Some(after.kiln);
        }
        let before = self.points[next.checked_sub(1)?];
        let part = (minute - before.minute) / (after.minute - before.minute);
        Some(before.kiln + (after.kiln - before.kiln) * part)
    }
}

/// A reading as written.
pub(super) struct Raw {
    pub(super) line: usize,
    pub(super) time: Time,
    pub(super) kiln: f64,
    pub(super) asked: Option<f64>,
}

#[derive(Clone, Copy)]
pub(super) enum Time {
    Stamp(Stamp),
    Elapsed(f64),
}

impl Time {
    /// Whether a date, if there is one, is a day of the calendar.
    pub(super) fn exists(&self) -> bool {
        let Self::Stamp(Stamp { date: Some(date), .. }) = self else { return true };
        date.days(DayPlace::First).or(date.days(DayPlace::Second)).is_some()
    }
}

pub(super) fn to_celsius(number: f64, scale: Scale) -> f64 {
    match scale {
        Scale::Celsius => number,
        Scale::Fahrenheit => (number - 32.0) / 1.8,
    }
}

/// Steps of the clock within this of an hour are taken for one, min.
const HOUR_SLACK_MIN: f64 = 10.0;
/// A step is a gap when it is longer than this and than so many usual steps.
const GAP_MIN: f64 = 10.0;
const GAP_STEPS: f64 = 5.0;

pub(super) fn assemble(
    raw: &[Raw],
    scale: Scale,
    notes: &mut Vec<ReadNote>,
) -> Result<MeasuredCurve, CurveRefusal> {
    let times = absolute_times(raw);
    let usual_min = usual_step(&times);
    let from_clock = raw.iter().any(|raw| matches!(raw.time, Time::Stamp(_)));
    let start = times.first().copied().unwrap_or(0.0);
    let celsius = |n: f64| Celsius::new(to_celsius(n, scale)).ok();
    let mut points: Vec<MeasuredPoint> = Vec::with_capacity(raw.len());
    let (mut added, mut same) = (0.0, 0);
    for (raw, time) in raw.iter().zip(&times) {
        let mut minute = time - start + added;
        let Some(kiln) = celsius(raw.kiln) else { continue };
        let asked = raw.asked.and_then(celsius);
        if let Some(last) = points.last().map(|point| point.minute.get()) {
            let step = minute - last;
            let about = |hour: f64| (step - hour).abs() < HOUR_SLACK_MIN + usual_min;
            if step < 0.0 && from_clock && about(-60.0) {
                notes.push(ReadNote::ClockPutBack { at: Minutes::of(last) });
                added += 60.0;
                minute += 60.0;
            } else if step < 0.0 {
                return Err(CurveRefusal::TimeRunsBack { line: raw.line });
            } else if step > GAP_MIN.max(GAP_STEPS * usual_min) {
                let one_hour =
                    from_clock && (step - 60.0 - usual_min).abs() < 1.5 * usual_min.max(0.5);
                notes.push(if one_hour {
                    ReadNote::HourMissing { at: Minutes::of(last) }
                } else {
                    ReadNote::Gap { from: Minutes::of(last), minutes: Minutes::of(step) }
                });
            }
            if minute <= last {
                same += 1;
                points.pop();
                minute = last;
            }
        }
        points.push(MeasuredPoint {
            minute: Minutes::new(minute)
                .map_err(|_| CurveRefusal::TimeRunsBack { line: raw.line })?,
            kiln,
            asked,
        });
    }
    if same > 0 {
        notes.push(ReadNote::SameMoment { count: same });
    }
    MeasuredCurve::new(points)
}

/// Minutes on one line: days of dates, midnights of stamps without one.
fn absolute_times(raw: &[Raw]) -> Vec<f64> {
    let with = |place: DayPlace| {
        let (mut times, mut midnights, mut last) =
            (Vec::with_capacity(raw.len()), 0.0, None::<f64>);
        for raw in raw {
            let time = match raw.time {
                Time::Elapsed(minute) => minute,
                Time::Stamp(stamp) => {
                    let days = match stamp.date {
                        Some(date) => date.days(place)? as f64,
                        None => {
                            if last.is_some_and(|last| last - stamp.minute > 720.0) {
                                midnights += 1.0;
                            }
                            last = Some(stamp.minute);
                            midnights
                        }
                    };
                    days * 1440.0 + stamp.minute - stamp.zone_min.unwrap_or(0.0)
                }
            };
            times.push(time);
        }
        Some(times)
    };
    let span =
        |times: &Vec<f64>| times.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>();
    // Day and month can stand in either order: the one in which the log is shorter is meant.
    match (with(DayPlace::First), with(DayPlace::Second)) {
        (Some(a), Some(b)) => {
            if span(&a) <= span(&b) {
                a
            } else {
                b
            }
        }
        (Some(times), None) | (None, Some(times)) => times,
        (None, None) => Vec::new(),
    }
}

fn usual_step(times: &[f64]) -> f64 {
    let mut steps: Vec<f64> =
        times.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0).collect();
    if steps.is_empty() {
        return 0.0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}
