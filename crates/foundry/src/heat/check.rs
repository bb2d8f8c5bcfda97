//! A programme on paper against the limits of mould, pattern, flask and kiln.

use super::body::FlaskBody;
use super::finding::{Concern, Finding, Severity};
use super::limits::{Binder, Limits, published_top_hold};
use super::power::Kiln;
use super::programme::{KelvinsPerHour, Knot, Programme, Segment};
use crate::quantity::{Celsius, Minutes};

/// Temperatures closer than this are one, K.
const SAME_K: f64 = 1.0;
/// A ramp may exceed its limit by this much before it is named: rates are often rounded.
const RATE_SLACK: f64 = 1.001;

/// Examines a programme without computing the flask's temperatures.
///
/// Says every reason, not the first; an empty list means that nothing was found on paper. Whether
/// the core follows is what [`judge`](super::judge) says of a computed burnout.
#[must_use]
pub fn check(
    programme: &Programme,
    limits: &Limits,
    body: &FlaskBody,
    kiln: &Kiln,
) -> Vec<Finding> {
    let mut found = Vec::new();
    zones(programme, limits, &mut found);
    drying(programme, limits, &mut found);
    top(programme, limits, body, &mut found);
    casting_hold(programme, limits, &mut found);
    power(programme, body, kiln, &mut found);
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    found
}

fn legs(programme: &Programme) -> impl Iterator<Item = (usize, Knot, Knot)> + '_ {
    programme.knots().windows(2).enumerate().map(|(index, pair)| (index + 1, pair[0], pair[1]))
}

fn rate_k_h(from: Knot, to: Knot) -> f64 {
    (to.temperature - from.temperature).get() / (to.minute - from.minute).hours()
}

/// When a leg is at a temperature.
fn minute_at(from: Knot, to: Knot, temperature: Celsius) -> Minutes {
    let part = (temperature - from.temperature) / (to.temperature - from.temperature);
    from.minute + (to.minute - from.minute) * part.clamp(0.0, 1.0)
}

fn zones(programme: &Programme, limits: &Limits, found: &mut Vec<Finding>) {
    for (_, from, to) in legs(programme) {
        let rate = rate_k_h(from, to);
        let (low, high) =
            (from.temperature.min(to.temperature), from.temperature.max(to.temperature));
        for zone in &limits.zones {
            let touches = low < zone.to && high > zone.from;
            // Water has gone on the way down; the turns of silica happen both ways.
            let matters = rate > 0.0 || zone.from > limits.drying.1;
            if touches && matters && rate.abs() > zone.most.get() * RATE_SLACK {
                let entered = if rate > 0.0 { zone.from.max(low) } else { zone.to.min(high) };
                found.push(Finding {
                    severity: Severity::Caution,
                    minute: Some(minute_at(from, to, entered)),
                    concern: Concern::TooSteep {
                        zone: zone.name,
                        range: (zone.from, zone.to),
                        ramp_k_h: rate.abs(),
                        most_k_h: zone.most.get(),
                    },
                });
            }
        }
    }
}

fn drying(programme: &Programme, limits: &Limits, found: &mut Vec<Finding>) {
    let (low, high) = limits.drying;
    if programme.top() < low {
        return;
    }
    let mut given = Minutes::ZERO;
    let mut first = None;
    for (_, from, to) in legs(programme) {
        let inside = time_inside(from, to, low, high);
        if inside > Minutes::ZERO && first.is_none() {
            first = Some(from.minute);
        }
        given += inside;
        // Only the way up counts: beyond the range the water is gone or has done its harm.
        if to.temperature > high {
            break;
        }
    }
    if given < limits.drying_least {
        found.push(Finding {
            severity: Severity::Caution,
            minute: first,
            concern: Concern::DryingTooShort {
                range: (low, high),
                given,
                least: limits.drying_least,
            },
        });
    }
}

fn time_inside(from: Knot, to: Knot, low: Celsius, high: Celsius) -> Minutes {
    let takes = to.minute - from.minute;
    let (a, b) = (from.temperature.min(to.temperature), from.temperature.max(to.temperature));
    if a == b {
        return if a >= low && a <= high { takes } else { Minutes::ZERO };
    }
    let inside = (b.min(high) - a.max(low)).get().max(0.0);
    takes * (inside / (b - a).get())
}

fn top(programme: &Programme, limits: &Limits, body: &FlaskBody, found: &mut Vec<Finding>) {
    let reached = programme.top();
    let when =
        programme.knots().iter().find(|knot| knot.temperature >= reached).map(|knot| knot.minute);
    let mut add = |severity, concern| found.push(Finding { severity, minute: when, concern });
    if reached > limits.ceiling {
        add(Severity::Danger, Concern::AboveCeiling { reached, ceiling: limits.ceiling });
    } else if reached > limits.usual_top {
        add(Severity::Note, Concern::AboveUsualTop { reached, usual: limits.usual_top });
    }
    if reached < limits.burn_off {
        let burn_off = limits.burn_off;
        add(Severity::Caution, Concern::NeverBurnsOff { reached, burn_off });
        return;
    }
    let given = held(programme, reached);
    let published = published_top_hold(body.inside_diameter);
    if limits.binder == Binder::Gypsum && given < published {
        add(Severity::Note, Concern::TopHoldShort { given, published });
    }
}

/// The time held at a temperature, in all.
fn held(programme: &Programme, temperature: Celsius) -> Minutes {
    let at = |knot: Knot| (knot.temperature - temperature).get().abs() < SAME_K;
    legs(programme)
        .filter(|(_, from, to)| at(*from) && at(*to))
        .map(|(_, from, to)| to.minute - from.minute)
        .sum()
}

fn casting_hold(programme: &Programme, limits: &Limits, found: &mut Vec<Finding>) {
    let given = match programme.segments().last() {
        Some(Segment::Hold { minutes }) => *minutes,
        _ => Minutes::ZERO,
    };
    if given < limits.casting_hold_least {
        found.push(Finding {
            severity: Severity::Caution,
            minute: Some(programme.total()),
            concern: Concern::CastingHoldShort { given, least: limits.casting_hold_least },
        });
    }
}

fn power(programme: &Programme, body: &FlaskBody, kiln: &Kiln, found: &mut Vec<Finding>) {
    let Kiln::Powered { kiln, flasks } = kiln else { return };
    let asked = programme.top();
    if asked > kiln.top {
        found.push(Finding {
            severity: Severity::Danger,
            minute: None,
            concern: Concern::AboveKilnTop { asked, top: kiln.top },
        });
    }
    let load_j_k = f64::from(*flasks) * body.fired_capacity_j_k();
    for (segment, from, to) in legs(programme) {
        let ramp_k_h = rate_k_h(from, to);
        if ramp_k_h > 0.0 {
            let limit = KelvinsPerHour::new(ramp_k_h)
                .ok()
                .and_then(|rate| kiln.follows_up_to(rate, load_j_k))
                .unwrap_or(kiln.room);
            if to.temperature > limit {
                let behind = limit.max(from.temperature);
                found.push(Finding {
                    severity: Severity::Caution,
                    minute: Some(minute_at(from, to, behind)),
                    concern: Concern::BeyondPower {
                        segment,
                        ramp_k_h,
                        from: behind,
                        possible_k_h: kiln.steepest_k_h(to.temperature, load_j_k),
                    },
                });
            }
        } else if ramp_k_h < 0.0 {
            let possible_k_h = kiln.cooling_k_h(to.temperature, load_j_k);
            if -ramp_k_h > possible_k_h * RATE_SLACK {
                found.push(Finding {
                    severity: Severity::Note,
                    minute: Some(from.minute),
                    concern: Concern::CoolsTooSlowly { segment, ramp_k_h: -ramp_k_h, possible_k_h },
                });
            }
        }
    }
}
