//! A log's bytes to a curve.

use foundry::heat::curve::{
    Column, Comparison, CurveRefusal, MeasuredCurve, MeasuredPoint, ReadNote, Scale, compare,
};
use foundry::heat::{HeatRefusal, Programme};
use foundry::quantity::Minutes;

use super::form::LogForm;

/// A reading a second for a day and more.
pub const MOST_BYTES: usize = 8 << 20;

/// Why a log was not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LogRefusal {
    /// No file.
    #[error("Choose the controller's file first.")]
    Nothing,
    /// More than is taken.
    #[error(
        "This file is larger than 8 MB. Let the controller write a reading every few seconds, or cut the log to the one firing."
    )]
    TooLarge,
    /// Bytes that are no text.
    #[error(
        "This is no text. Export the log as CSV or as text from the controller's program; a sheet of a spreadsheet can be saved as CSV."
    )]
    NoText,
    /// Text in which it has to be chosen which column is the kiln's.
    #[error("{0}.")]
    WhichColumn(String),
    /// Text without a curve in it.
    #[error("{0}.")]
    Unread(String),
}

impl From<CurveRefusal> for LogRefusal {
    fn from(why: CurveRefusal) -> Self {
        let words = sentence(&why.to_string());
        match why {
            CurveRefusal::WhichTemperature { .. } => Self::WhichColumn(words),
            _ => Self::Unread(words),
        }
    }
}

/// A log as read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The curve.
    pub curve: MeasuredCurve,
    /// The columns, with what they are taken for.
    pub columns: Vec<Column>,
    /// The scale.
    pub scale: Scale,
    /// What was guessed, left out or mended: whole sentences.
    pub notes: Vec<String>,
    /// Whether an hour is missing that may be the clock's.
    pub hour_missing: bool,
    /// Whether the scale was guessed.
    pub scale_guessed: bool,
}

/// The first letter large, as a sentence begins.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// The text of a file: UTF-8, UTF-16 with its mark, or else one byte a letter.
///
/// # Errors
/// Bytes that are no text.
pub fn text_of(bytes: &[u8]) -> Result<String, LogRefusal> {
    let wide = |pairs: &[u8], join: fn([u8; 2]) -> u16| {
        let letters: Vec<u16> =
            pairs.chunks_exact(2).map(|pair| join([pair[0], pair[1]])).collect();
        String::from_utf16(&letters).map_err(|_| LogRefusal::NoText)
    };
    match bytes {
        [0xff, 0xfe, rest @ ..] => wide(rest, u16::from_le_bytes),
        [0xfe, 0xff, rest @ ..] => wide(rest, u16::from_be_bytes),
        _ if bytes.contains(&0) => Err(LogRefusal::NoText),
        _ => Ok(match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            // Older controllers write ISO 8859-1, in which the degree sign is one byte.
            Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
        }),
    }
}

/// The first lines of a log, shortened, to choose columns by.
#[must_use]
pub fn first_lines(text: &str, most: usize) -> String {
    text.trim_start_matches('\u{feff}')
        .lines()
        .take(most)
        .map(|line| line.chars().take(160).collect::<String>())
        .collect::<Vec<_>>()
        .join("\n")
}

/// Reads a log in the way that was chosen.
///
/// # Errors
/// What cannot be read, with what to do.
pub fn read(bytes: &[u8], form: &LogForm) -> Result<Reading, LogRefusal> {
    if bytes.is_empty() {
        return Err(LogRefusal::Nothing);
    }
    if bytes.len() > MOST_BYTES {
        return Err(LogRefusal::TooLarge);
    }
    let read = foundry::heat::curve::read(&text_of(bytes)?, &form.options())?;
    let mut curve = read.curve;
    let mut notes = Vec::new();
    let (mut hour_missing, mut scale_guessed) = (false, false);
    for note in &read.notes {
        match note {
            ReadNote::HourMissing { at } if form.hour_out => {
                curve = without_the_hour(&curve, *at)?;
                notes.push(format!(
                    "The clock was put forward by an hour at minute {:.0}: the hour that nobody lived was taken out",
                    at.get()
                ));
            }
            note => {
                hour_missing |= matches!(note, ReadNote::HourMissing { .. });
                scale_guessed |= matches!(note, ReadNote::ScaleGuessed(_));
                notes.push(sentence(&note.to_string()));
            }
        }
    }
    Ok(Reading {
        curve,
        columns: read.columns,
        scale: read.scale,
        notes,
        hour_missing,
        scale_guessed,
    })
}

/// The columns of a log with what they are taken for, of one that cannot be read too; none where
/// there is no table.
#[must_use]
pub fn columns_of(bytes: &[u8], form: &LogForm) -> Vec<Column> {
    let found = text_of(bytes)
        .ok()
        .and_then(|text| foundry::heat::curve::columns(&text, &form.options()).ok());
    found.unwrap_or_default()
}

/// Moves what was read after a minute back by an hour.
fn without_the_hour(curve: &MeasuredCurve, at: Minutes) -> Result<MeasuredCurve, CurveRefusal> {
    let points = curve
        .points()
        .iter()
        .map(|point| {
            let later = point.minute > at;
            let minute = if later { point.minute.get() - 60.0 } else { point.minute.get() };
            MeasuredPoint { minute: Minutes::of(minute), ..*point }
        })
        .collect();
    MeasuredCurve::new(points)
}

/// A difference larger than this is a kiln that did not follow, and says nothing of when the
/// programme began, K.
const FOLLOWS_K: f64 = 15.0;

/// Holds a log against its programme; where the programme begins in the log is found unless it
/// was told. A kiln that fell behind later does not shift the beginning.
///
/// # Errors
/// What foundry refuses to compare.
pub fn against(
    curve: &MeasuredCurve,
    programme: &Programme,
    form: &LogForm,
) -> Result<Comparison, HeatRefusal> {
    if let Some(told) = form.starts_at_min {
        return compare(curve, programme, Some(Minutes::of(told)));
    }
    let near = compare(curve, programme, None)?.starts_at.get();
    let steps = (programme.total().get() / 2.0) as usize;
    let badness = |start: f64| {
        let (mut sum, mut count) = (0.0, 0.0);
        for n in 0..=steps {
            let minute = Minutes::of(n as f64 * 2.0);
            if let Some(kiln) = curve.at(minute + Minutes::of(start)) {
                sum += (kiln - programme.temperature_at(minute)).get().abs().min(FOLLOWS_K);
                count += 1.0;
            }
        }
        // What the log does not cover counts as not followed.
        (sum + FOLLOWS_K * (steps as f64 + 1.0 - count)) / (steps as f64 + 1.0)
    };
    let best = (-40..=40)
        .map(|n| near + f64::from(n) * 0.5)
        .map(|start| (badness(start), start))
        .fold((f64::INFINITY, near), |best, tried| if tried.0 < best.0 { tried } else { best });
    compare(curve, programme, Some(Minutes::of(best.1)))
}

/// The other scale, when a log fits its programme far better in it than as it was read and
/// compared: typical difference as read, and in the other scale, K.
#[must_use]
pub fn better_scale(
    bytes: &[u8],
    form: &LogForm,
    reading: &Reading,
    comparison: Option<&Comparison>,
    programme: &Programme,
) -> Option<(Scale, f64, f64)> {
    let is = comparison.map_or(f64::INFINITY, |found| found.typical.get());
    // Reading it once more takes a while, and is for what lies far off.
    if is <= 60.0 {
        return None;
    }
    let other = if reading.scale == Scale::Celsius { Scale::Fahrenheit } else { Scale::Celsius };
    let form = LogForm { fahrenheit: Some(other == Scale::Fahrenheit), ..form.clone() };
    let would = against(&read(bytes, &form).ok()?.curve, programme, &form).ok()?.typical.get();
    (would < is / 3.0).then_some((other, is, would))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
    use super::*;

    #[test]
    fn a_degree_sign_of_one_byte_and_wide_letters_are_read() {
        assert_eq!(text_of(b"T \xb0C").unwrap(), "T °C");
        assert_eq!(text_of(&[0xff, 0xfe, 0x54, 0, 0xb0, 0]).unwrap(), "T°");
        assert_eq!(text_of(&[0xfe, 0xff, 0, 0x54]).unwrap(), "T");
        assert_eq!(text_of(b"PK\x03\x04\0\0"), Err(LogRefusal::NoText));
    }

    #[test]
    fn an_hour_of_the_clock_is_taken_out_only_when_it_was_said_so() {
        let mut log = String::from("time,kiln C\n");
        for n in 0..60 {
            let minute = 60 + n * 2 + if n >= 30 { 60 } else { 0 };
            log.push_str(&format!("2026-03-29 {:02}:{:02},{}\n", minute / 60, minute % 60, 20 + n));
        }
        let kept = read(log.as_bytes(), &LogForm::default()).unwrap();
        assert!(kept.hour_missing);
        assert_eq!(kept.curve.duration().get(), 178.0);
        let form = LogForm { hour_out: true, ..LogForm::default() };
        let out = read(log.as_bytes(), &form).unwrap();
        assert_eq!(out.curve.duration().get(), 118.0);
        assert!(out.notes.iter().any(|note| note.contains("put forward")), "{:?}", out.notes);
    }
}
