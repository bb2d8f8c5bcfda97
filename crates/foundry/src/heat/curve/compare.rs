//! A measured curve against the programme it was to follow.

use std::fmt;

use super::measured::MeasuredCurve;
use crate::heat::finding::Severity;
use crate::heat::programme::{Knot, Programme};
use crate::heat::refusal::HeatRefusal;
use crate::quantity::{Celsius, Kelvins, Minutes};

/// Something that happened in a firing.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// How much it matters.
    pub severity: Severity,
    /// When, in minutes of the programme.
    pub minute: Minutes,
    /// What.
    pub what: Deviation,
}

/// How a firing left its programme. Its `Display` is the sentence to show.
#[derive(Debug, Clone, PartialEq)]
pub enum Deviation {
    /// Hotter than a hold asks for.
    Overshoot {
        /// The segment, counted from 1.
        segment: usize,
        /// By how much at most.
        most: Kelvins,
    },
    /// A ramp that fell behind.
    StalledRamp {
        /// The segment, counted from 1.
        segment: usize,
        /// How far behind at most.
        behind: Kelvins,
        /// The ramp asked for, K/h.
        asked_k_h: f64,
        /// The ramp measured where it was behind, K/h.
        measured_k_h: f64,
    },
    /// A sudden fall: the door was opened.
    DoorOpened {
        /// How far it fell.
        drop: Kelvins,
        /// How long until it was back; `None` if it never was.
        back_after: Option<Minutes>,
    },
    /// A hold that was not kept for its time.
    HoldShort {
        /// The segment, counted from 1.
        segment: usize,
        /// How long the kiln was within 10 K of the hold.
        kept: Minutes,
        /// How long it was to be.
        asked: Minutes,
    },
    /// The log ends before the programme does.
    EndsEarly {
        /// How much of the programme is missing.
        missing: Minutes,
    },
}

impl fmt::Display for Deviation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Overshoot { segment, most } => {
                write!(f, "segment {segment} is overshot by {:.0} K", most.get())
            }
            Self::StalledRamp { segment, behind, asked_k_h, measured_k_h } => write!(
                f,
                "segment {segment} falls {:.0} K behind: {measured_k_h:.0} K/h instead of \
                 {asked_k_h:.0}. Too much load, a weak element, or a ramp too steep for the kiln",
                behind.get()
            ),
            Self::DoorOpened { drop, back_after } => {
                write!(
                    f,
                    "the kiln falls by {:.0} K at once, as when the door is opened",
                    drop.get()
                )?;
                match back_after {
                    Some(minutes) => write!(f, "; back after {:.0} min", minutes.get()),
                    None => f.write_str("; it does not come back"),
                }
            }
            Self::HoldShort { segment, kept, asked } => write!(
                f,
                "segment {segment} was kept for {:.0} of {:.0} min",
                kept.get(),
                asked.get()
            ),
            Self::EndsEarly { missing } => {
                write!(f, "the log ends {:.0} min before the programme", missing.get())
            }
        }
    }
}

/// A firing beside its programme.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Where the programme begins in the log, in minutes of the log.
    pub starts_at: Minutes,
    /// Root of the mean square of the difference.
    pub typical: Kelvins,
    /// The greatest difference either way.
    pub greatest: Kelvins,
    /// What happened, in the order of time.
    pub events: Vec<Event>,
}

impl Comparison {
    /// Whether it follows the programme as no kiln does: it is then the set point that was read.
    /// A kiln lags behind a ramp and swings about a hold by a kelvin and more (common practice,
    /// no source).
    #[must_use]
    pub fn looks_like_set_point(&self) -> bool {
        self.typical.get() < EXACT_TYPICAL_K && self.greatest.get().abs() < EXACT_GREATEST_K
    }
}

/// What follows its programme within this is no thermocouple, K.
const EXACT_TYPICAL_K: f64 = 0.3;
const EXACT_GREATEST_K: f64 = 2.0;

/// An overshoot smaller than this is a controller's habit, K.
const OVERSHOOT_K: f64 = 5.0;
/// A ramp is behind from here on, K.
const BEHIND_K: f64 = 15.0;
/// A stalled ramp is slower than this part of the ramp asked for.
const STALLED_PART: f64 = 0.85;
/// A door's fall: at least so much, within so long, K and min.
const DOOR_K: f64 = 25.0;
const DOOR_MIN: f64 = 5.0;
/// Within this the kiln has not begun to fall, K.
const STILL_K: f64 = 2.0;
/// A hold is kept within this, K.
const HELD_K: f64 = 10.0;
/// A hold is short when this part of it is missing.
const SHORT_PART: f64 = 0.1;
/// The comparison looks once in so many minutes.
const EVERY_MIN: f64 = 1.0;

/// Holds a measured curve against a programme.
///
/// `starts_at` is where the programme begins in the log; `None` finds the start at which the two
/// agree best.
///
/// # Refuses
/// A log that covers less than a tenth of the programme from the start given.
pub fn compare(
    curve: &MeasuredCurve,
    programme: &Programme,
    starts_at: Option<Minutes>,
) -> Result<Comparison, HeatRefusal> {
    let starts_at = starts_at.unwrap_or_else(|| best_start(curve, programme));
    let pairs = pairs(curve, programme, starts_at, EVERY_MIN);
    let covered = pairs.len() as f64 * EVERY_MIN / programme.total().get();
    if pairs.len() < 2 || covered < 0.1 {
        let what = "the part of the programme that the log covers";
        return Err(HeatRefusal::OutOfRange {
            what,
            least: 0.1,
            greatest: 1.0,
            given: covered,
            unit: "",
        });
    }
    let square: f64 = pairs.iter().map(|pair| pair.off_k().powi(2)).sum();
    let greatest =
        pairs.iter().map(Pair::off_k).fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
    let mut events = Vec::new();
    for (index, leg) in programme.knots().windows(2).enumerate() {
        in_segment(index + 1, leg[0], leg[1], &pairs, &mut events);
    }
    doors(&pairs, &mut events);
    let missing = programme.total() - pairs[pairs.len() - 1].minute;
    if missing.get() > 2.0 * EVERY_MIN {
        let minute = pairs[pairs.len() - 1].minute;
        let what = Deviation::EndsEarly { missing };
        events.push(Event { severity: Severity::Note, minute, what });
    }
    events.sort_by(|a, b| a.minute.get().total_cmp(&b.minute.get()));
    Ok(Comparison {
        starts_at,
        typical: Kelvins::of((square / pairs.len() as f64).sqrt()),
        greatest: Kelvins::of(greatest),
        events,
    })
}

/// Plan and measurement at one minute of the programme.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pair {
    pub(super) minute: Minutes,
    pub(super) asked: Celsius,
    pub(super) kiln: Celsius,
}

impl Pair {
    fn off_k(&self) -> f64 {
        (self.kiln - self.asked).get()
    }
}

fn pairs(
    curve: &MeasuredCurve,
    programme: &Programme,
    starts_at: Minutes,
    every_min: f64,
) -> Vec<Pair> {
    let count = (programme.total().get() / every_min) as usize;
    (0..=count)
        .filter_map(|n| {
            let minute = Minutes::of(n as f64 * every_min);
            let kiln = curve.at(minute + starts_at)?;
            Some(Pair { minute, asked: programme.temperature_at(minute), kiln })
        })
        .collect()
}

/// The start at which plan and log differ least, to the minute.
pub(super) fn best_start(curve: &MeasuredCurve, programme: &Programme) -> Minutes {
    let first = curve.points()[0].minute.get();
    let badness = |start: f64, every: f64| {
        let pairs = pairs(curve, programme, Minutes::of(start), every);
        let covered = pairs.len() as f64 * every / programme.total().get();
        let off: f64 = pairs.iter().map(|pair| pair.off_k().abs().min(200.0)).sum();
        // What the log does not cover counts as far off, or the shortest overlap would win.
        off / pairs.len().max(1) as f64 + 200.0 * (1.0 - covered.min(1.0))
    };
    let search = |from: f64, to: f64, step: f64, every: f64| {
        let count = ((to - from) / step).max(0.0) as usize;
        (0..=count)
            .map(|n| from + n as f64 * step)
            .map(|start| (badness(start, every), start))
            .fold((f64::INFINITY, first), |best, tried| if tried.0 < best.0 { tried } else { best })
            .1
    };
    let latest = first + (curve.duration().get() * 0.9).min(1440.0);
    let coarse = search(first - 120.0, latest, 10.0, 10.0);
    Minutes::of(search(coarse - 10.0, coarse + 10.0, 1.0, 5.0))
}

fn in_segment(segment: usize, from: Knot, to: Knot, pairs: &[Pair], events: &mut Vec<Event>) {
    let inside: Vec<&Pair> =
        pairs.iter().filter(|p| p.minute >= from.minute && p.minute <= to.minute).collect();
    let rise_k = (to.temperature - from.temperature).get();
    if rise_k > 0.0 {
        stalled(segment, rise_k / (to.minute - from.minute).hours(), &inside, events);
    } else if rise_k == 0.0 {
        held(segment, to, to.minute - from.minute, pairs, &inside, events);
    }
}

fn stalled(segment: usize, asked_k_h: f64, inside: &[&Pair], events: &mut Vec<Event>) {
    let behind: Vec<&&Pair> = inside.iter().filter(|pair| pair.off_k() < -BEHIND_K).collect();
    let (Some(first), Some(last)) = (behind.first(), behind.last()) else { return };
    let hours = (last.minute - first.minute).hours();
    if hours * 60.0 < 5.0 {
        return;
    }
    let measured_k_h = (last.kiln - first.kiln).get() / hours;
    if measured_k_h > asked_k_h * STALLED_PART {
        return;
    }
    let most = behind.iter().map(|pair| -pair.off_k()).fold(0.0, f64::max);
    events.push(Event {
        severity: Severity::Caution,
        minute: first.minute,
        what: Deviation::StalledRamp {
            segment,
            behind: Kelvins::of(most),
            asked_k_h,
            measured_k_h,
        },
    });
}

fn held(
    segment: usize,
    hold: Knot,
    asked: Minutes,
    pairs: &[Pair],
    inside: &[&Pair],
    events: &mut Vec<Event>,
) {
    // A hold after a fall is entered from above: what is left of the fall is no overshoot.
    let entered_at = inside.iter().find(|pair| pair.off_k() <= OVERSHOOT_K).map(|pair| pair.minute);
    let over = inside
        .iter()
        .filter(|pair| entered_at.is_some_and(|minute| pair.minute >= minute))
        .map(|pair| (pair.off_k(), pair.minute))
        .fold((0.0, hold.minute), |most, next| if next.0 > most.0 { next } else { most });
    // The overshoot of a ramp shows in the hold it ends in, sometimes from its first minute on.
    let from_ramp = inside.first().filter(|pair| pair.off_k() > OVERSHOOT_K);
    let rose = from_ramp.is_some_and(|pair| {
        pairs.iter().rev().find(|p| p.minute < pair.minute).is_some_and(|p| p.asked < pair.asked)
    });
    let over = match (
        rose,
        inside.iter().map(|p| (p.off_k(), p.minute)).max_by(|a, b| a.0.total_cmp(&b.0)),
    ) {
        (true, Some(most)) if most.0 > over.0 => most,
        _ => over,
    };
    if over.0 > OVERSHOOT_K {
        events.push(Event {
            severity: if over.0 > 2.0 * OVERSHOOT_K { Severity::Caution } else { Severity::Note },
            minute: over.1,
            what: Deviation::Overshoot { segment, most: Kelvins::of(over.0) },
        });
    }
    let complete = inside.len() as f64 * EVERY_MIN >= asked.get() - EVERY_MIN;
    let kept = inside.iter().filter(|pair| pair.off_k().abs() <= HELD_K).count() as f64 * EVERY_MIN;
    if complete && kept < asked.get() * (1.0 - SHORT_PART) {
        events.push(Event {
            severity: Severity::Caution,
            minute: inside.first().map_or(hold.minute, |pair| pair.minute),
            what: Deviation::HoldShort { segment, kept: Minutes::of(kept), asked },
        });
    }
}

fn doors(pairs: &[Pair], events: &mut Vec<Event>) {
    let window = (DOOR_MIN / EVERY_MIN) as usize;
    let mut index = 0;
    while index + 1 < pairs.len() {
        let end = (index + window).min(pairs.len() - 1);
        let lowest = (index + 1..=end)
            .min_by(|a, b| pairs[*a].kiln.get().total_cmp(&pairs[*b].kiln.get()))
            .unwrap_or(index);
        let drop = pairs[index].kiln - pairs[lowest].kiln;
        let planned = pairs[index].asked - pairs[lowest].asked;
        if (drop - planned.max(Kelvins::ZERO)).get() < DOOR_K {
            index += 1;
            continue;
        }
        // The fall begins at the last moment that was not yet lower, and is told whole.
        let still = pairs[index].kiln.get() - STILL_K;
        index = (index..lowest).rev().find(|n| pairs[*n].kiln.get() >= still).unwrap_or(index);
        let end = (index + window).min(pairs.len() - 1);
        let lowest = (index + 1..=end)
            .min_by(|a, b| pairs[*a].kiln.get().total_cmp(&pairs[*b].kiln.get()))
            .unwrap_or(lowest);
        let drop = pairs[index].kiln - pairs[lowest].kiln;
        let before_k = pairs[index].off_k();
        let back = pairs[lowest..]
            .iter()
            .find(|pair| before_k - pair.off_k() < DOOR_K / 5.0)
            .map(|pair| pair.minute - pairs[index].minute);
        events.push(Event {
            severity: Severity::Caution,
            minute: pairs[index].minute,
            what: Deviation::DoorOpened { drop, back_after: back },
        });
        // One opening is told once: go on where it has come back or the fall has ended.
        let resume = back.map_or(pairs[lowest].minute, |back| pairs[index].minute + back);
        index = pairs.partition_point(|pair| pair.minute <= resume).max(lowest + 1);
    }
}
