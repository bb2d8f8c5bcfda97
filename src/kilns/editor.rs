//! A programme as it is typed: in °C or °F, times or rates; kept in one form.

use super::programme::{ROOM_C, SegmentKind, SegmentRow};
use crate::web::Form;

/// Lines of the form.
pub(super) const LINES: usize = 16;

/// The name of a field of a line, counted from 1.
pub(super) fn field(what: &str, line: usize) -> String {
    format!("{what}{line}")
}

/// All fields of the editor.
pub(super) fn fields() -> Vec<String> {
    let mut names = vec!["unit".to_owned()];
    for line in 1..=LINES {
        names.extend(["t", "m"].map(|what| field(what, line)));
    }
    names
}

/// Whether a form brings a programme of its own.
pub(super) fn brings(form: &Form) -> bool {
    (1..=LINES)
        .any(|line| ["t", "m"].iter().any(|what| !form.value(&field(what, line)).trim().is_empty()))
}

fn fahrenheit(form: &Form) -> bool {
    form.value("unit") == "F"
}

/// Degrees as they are typed.
fn shown(celsius: f64, fahrenheit: bool) -> String {
    let degrees = if fahrenheit { celsius * 1.8 + 32.0 } else { celsius };
    let text = format!("{degrees:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// Writes a programme into the form.
pub(super) fn fill(form: &mut Form, segments: &[SegmentRow]) {
    let in_f = fahrenheit(form);
    for (n, segment) in segments.iter().take(LINES).enumerate() {
        let line = n + 1;
        let to = match segment.kind {
            SegmentKind::Ramp => shown(segment.target_c, in_f),
            SegmentKind::Hold => String::new(),
        };
        form.set(&field("t", line), &to);
        form.set(&field("m", line), &segment.minutes.to_string());
    }
    for line in segments.len() + 1..=LINES {
        for what in ["t", "m"] {
            form.set(&field(what, line), "");
        }
    }
}

/// How long a segment takes, as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Takes {
    Minutes(f64),
    /// Kelvins an hour.
    Rate(f64),
}

/// Reads `90`, `90 min`, `1:30`, `1.5 h`, `150/h`, `150 K/h`, `270 F/h`.
fn takes(typed: &str, in_f: bool) -> Result<Takes, String> {
    let text = typed.trim().replace(',', ".").replace('°', "").to_lowercase();
    let wrong = || {
        format!("“{typed}” is not understood; write 90, 1:30 or 1.5 h, or a rate such as 150/h.")
    };
    let number = |part: &str| part.trim().parse::<f64>().ok().filter(|n| n.is_finite());
    if let Some(rate) = text.strip_suffix("/h") {
        let rate = rate.trim();
        let (digits, per_f) = match (rate.strip_suffix('f'), rate.strip_suffix(['k', 'c'])) {
            (Some(digits), _) => (digits, true),
            (_, Some(digits)) => (digits, false),
            _ => (rate, in_f),
        };
        let rate = number(digits).ok_or_else(wrong)?;
        if rate <= 0.0 {
            return Err("At no degrees an hour it never arrives; give a rate above 0.".to_owned());
        }
        return Ok(Takes::Rate(if per_f { rate / 1.8 } else { rate }));
    }
    let minutes = if let Some((hours, minutes)) = text.split_once(':') {
        number(hours).ok_or_else(wrong)? * 60.0 + number(minutes).ok_or_else(wrong)?
    } else if let Some((hours, minutes)) = text.split_once('h') {
        let minutes = minutes.trim().trim_end_matches("min");
        let more = if minutes.trim().is_empty() { Some(0.0) } else { number(minutes) };
        number(hours).ok_or_else(wrong)? * 60.0 + more.ok_or_else(wrong)?
    } else {
        number(text.trim_end_matches("min")).ok_or_else(wrong)?
    };
    if minutes <= 0.0 {
        return Err("Time must run forward; give more than 0 minutes.".to_owned());
    }
    Ok(Takes::Minutes(minutes))
}

/// Reads the programme; empty after noting what is wrong beside its field.
pub(super) fn read(form: &mut Form) -> Vec<SegmentRow> {
    let in_f = fahrenheit(form);
    let mut segments: Vec<SegmentRow> = Vec::new();
    let (mut at, mut good) = (ROOM_C, true);
    for line in 1..=LINES {
        let [to, time] = ["t", "m"].map(|what| field(what, line));
        let (typed_to, typed_time) =
            (form.value(&to).trim().to_owned(), form.value(&time).trim().to_owned());
        if typed_to.is_empty() && typed_time.is_empty() {
            continue;
        }
        let mut wrong = |name: &str, why: String| {
            form.wrong(name, why);
            good = false;
        };
        let is_hold = typed_to.is_empty();
        let target = if is_hold {
            Some(at)
        } else {
            match typed_to.replace(',', ".").parse::<f64>() {
                Ok(degrees) if degrees.is_finite() => {
                    let celsius = if in_f { (degrees - 32.0) / 1.8 } else { degrees };
                    if !(0.0..=1400.0).contains(&celsius) {
                        let range = if in_f { "32 to 2552 °F" } else { "0 to 1400 °C" };
                        wrong(&to, format!("No burnout kiln is run at {degrees}; give {range}."));
                        None
                    } else if (celsius - at).abs() < 0.05 {
                        wrong(&to, "The kiln is there already: leave this empty to hold.".into());
                        None
                    } else {
                        Some(celsius)
                    }
                }
                _ => {
                    wrong(&to, format!("“{typed_to}” is not a temperature."));
                    None
                }
            }
        };
        let minutes = match takes(&typed_time, in_f) {
            _ if typed_time.is_empty() => {
                wrong(&time, "How long? Write minutes, or a rate such as 150/h.".to_owned());
                None
            }
            Ok(Takes::Rate(_)) if is_hold => {
                wrong(&time, "A hold takes minutes, not a rate.".to_owned());
                None
            }
            Ok(Takes::Rate(rate)) => target.map(|target| (target - at).abs() / rate * 60.0),
            Ok(Takes::Minutes(minutes)) => Some(minutes),
            Err(why) => {
                wrong(&time, why);
                None
            }
        };
        if minutes.is_some_and(|minutes| minutes > 10_080.0) {
            wrong(&time, "No segment takes longer than a week.".to_owned());
        }
        if let (Some(target_c), Some(minutes)) = (target, minutes) {
            at = target_c;
            segments.push(SegmentRow {
                kind: if is_hold { SegmentKind::Hold } else { SegmentKind::Ramp },
                target_c,
                minutes: minutes.ceil().clamp(1.0, 10_080.0) as i32,
            });
        }
    }
    if good { segments } else { Vec::new() }
}

/// Moves a corner of the programme: the end of a line, to a minute and to degrees.
pub(super) fn moved(
    segments: &[SegmentRow],
    line: usize,
    minute: f64,
    celsius: f64,
) -> Vec<SegmentRow> {
    let mut moved = segments.to_vec();
    let before: i32 = segments.iter().take(line).map(|segment| segment.minutes).sum();
    let from = line.checked_sub(1).and_then(|n| segments.get(n)).map_or(ROOM_C, |one| one.target_c);
    let Some(segment) = moved.get_mut(line) else { return moved };
    let fives = |value: f64| (value / 5.0).round() * 5.0;
    segment.minutes = (fives(minute) as i32 - before).clamp(5, 10_080);
    if segment.kind == SegmentKind::Ramp {
        let to = fives(celsius).clamp(0.0, 1400.0);
        // A ramp that goes nowhere would be a hold; it keeps the direction it had.
        if (to - from).abs() >= 5.0 {
            segment.target_c = to;
        }
        let target_c = segment.target_c;
        for later in moved.iter_mut().skip(line + 1) {
            if later.kind == SegmentKind::Ramp {
                break;
            }
            later.target_c = target_c;
        }
    }
    moved
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(lines: &[(&str, &str)], unit: &str) -> Form {
        let mut form = Form::default();
        form.set("unit", unit);
        for (n, (to, time)) in lines.iter().enumerate() {
            form.set(&field("t", n + 1), to);
            form.set(&field("m", n + 1), time);
        }
        form
    }

    fn row(kind: SegmentKind, target_c: f64, minutes: i32) -> SegmentRow {
        SegmentRow { kind, target_c, minutes }
    }

    #[test]
    fn times_and_rates_are_read_in_both_scales() {
        let mut form = typed(&[("150", "60"), ("", "1:30"), ("350", "100/h"), ("", "1.5 h")], "C");
        let expected = [
            row(SegmentKind::Ramp, 150.0, 60),
            row(SegmentKind::Hold, 150.0, 90),
            row(SegmentKind::Ramp, 350.0, 120),
            row(SegmentKind::Hold, 350.0, 90),
        ];
        assert_eq!(read(&mut form), expected);
        // 302 °F is 150 °C, 662 °F is 350 °C, 180 °F/h are 100 K/h.
        let mut form =
            typed(&[("302", "60 min"), ("", "90"), ("662", "180 °F/h"), ("", "90")], "F");
        assert_eq!(read(&mut form), expected);
        assert!(form.good());
    }

    #[test]
    fn what_cannot_be_run_is_told_beside_its_field() {
        for (to, time, at, words) in [
            ("2000", "60", "t1", "No burnout kiln"),
            ("150", "-5", "m1", "forward"),
            ("150", "0", "m1", "forward"),
            ("150", "0/h", "m1", "never arrives"),
            ("20", "60", "t1", "there already"),
            ("hot", "60", "t1", "not a temperature"),
            ("150", "soon", "m1", "not understood"),
            ("150", "", "m1", "How long"),
            ("", "50/h", "m1", "not a rate"),
            ("150", "99999", "m1", "a week"),
        ] {
            let mut form = typed(&[(to, time)], "C");
            assert!(read(&mut form).is_empty(), "{to} {time}");
            assert!(form.error(at).is_some_and(|why| why.contains(words)), "{to} {time}");
        }
    }

    #[test]
    fn a_programme_comes_back_as_it_was() {
        let kept = [row(SegmentKind::Ramp, 732.5, 200), row(SegmentKind::Hold, 732.5, 45)];
        for unit in ["C", "F"] {
            let mut form = typed(&[], unit);
            fill(&mut form, &kept);
            let back = read(&mut form);
            assert_eq!(back.len(), 2);
            assert!((back[0].target_c - 732.5).abs() < 1.0e-9 && back[1].minutes == 45);
        }
    }

    #[test]
    fn a_corner_that_is_moved_takes_its_hold_along() {
        let kept = [row(SegmentKind::Ramp, 150.0, 60), row(SegmentKind::Hold, 150.0, 90)];
        let ramp = moved(&kept, 0, 83.0, 181.0);
        assert_eq!(ramp, [row(SegmentKind::Ramp, 180.0, 85), row(SegmentKind::Hold, 180.0, 90)]);
        let hold = moved(&kept, 1, 121.0, 400.0);
        assert_eq!(hold[1], row(SegmentKind::Hold, 150.0, 60));
        assert_eq!(moved(&kept, 0, -50.0, 20.0)[0].minutes, 5, "time runs forward");
        assert_eq!(moved(&kept, 9, 10.0, 20.0), kept);
    }
}
