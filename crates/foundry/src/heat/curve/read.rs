//! A log's text to a curve.

use super::columns::{self, Column, Role, Scale, TimeForm};
use super::measured::{MeasuredCurve, Raw, Time, assemble, to_celsius};
use super::note::{CurveRefusal, ReadNote};
use super::stamp;
use super::table::{self, Row, number};

/// What is known of a log before it is read; what is `None` is guessed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReadOptions {
    /// The sign between fields; a space stands for any run of spaces.
    pub delimiter: Option<char>,
    /// Whether decimals are written with a comma.
    pub decimal_comma: Option<bool>,
    /// The column of the time, counted from 0.
    pub time_column: Option<usize>,
    /// The column of the kiln's temperature.
    pub kiln_column: Option<usize>,
    /// The column of the set point.
    pub set_point_column: Option<usize>,
    /// The scale of the temperatures.
    pub scale: Option<Scale>,
    /// How times are written.
    pub time_form: Option<TimeForm>,
}

/// A log as read.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadCurve {
    /// The curve.
    pub curve: MeasuredCurve,
    /// The columns as taken.
    pub columns: Vec<Column>,
    /// The delimiter as taken.
    pub delimiter: char,
    /// Whether decimals were read with a comma.
    pub decimal_comma: bool,
    /// The scale as taken.
    pub scale: Scale,
    /// The form of the times as taken.
    pub time_form: TimeForm,
    /// What was guessed or left out.
    pub notes: Vec<ReadNote>,
}

/// The longest text taken, bytes: a reading a second for a week.
const LONGEST: usize = 32 * 1024 * 1024;
/// Readings outside these are a broken thermocouple, °C.
const LEAST_C: f64 = -50.0;
const MOST_C: f64 = 1500.0;

/// Reads a controller's log.
///
/// # Assumes
/// Clock stamps are of one place; a stamp without a date that goes back by more than half a day is
/// of the next day.
///
/// # Refuses
/// Text without a table, without a time or a temperature, more than 32 MiB, and times that go back
/// other than by an hour of the clock.
pub fn read(text: &str, options: &ReadOptions) -> Result<ReadCurve, CurveRefusal> {
    if text.len() > LONGEST {
        return Err(CurveRefusal::TooLong { bytes: text.len(), most: LONGEST });
    }
    let Cut { delimiter, rows, decimal_comma } = cut(text, options)?;
    let (heading, data) = columns::split_heading(&rows, decimal_comma);
    let mut columns = columns::guess(heading, data, decimal_comma);
    choose(&mut columns, options)?;
    let place = |role| columns.iter().find(|c| c.role == role).map(|c| c.index);
    let time_at = place(Role::Time).ok_or(CurveRefusal::NoTime)?;
    let maybe: Vec<usize> =
        columns.iter().filter(|c| c.role == Role::MaybeKiln).map(|c| c.index + 1).collect();
    let kiln_at = match (place(Role::Kiln), maybe) {
        (Some(kiln_at), _) => kiln_at,
        (None, maybe) if maybe.is_empty() => return Err(CurveRefusal::NoTemperature),
        (None, columns) => return Err(CurveRefusal::WhichTemperature { columns }),
    };
    let (date_at, set_at) = (place(Role::Date), place(Role::SetPoint));
    let mut notes = Vec::new();

    let field = |row: &Row, index: usize| row.fields.get(index).cloned().unwrap_or_default();
    let time_form = match options.time_form {
        Some(form) => form,
        None => find_time_form(data, &columns[time_at], decimal_comma, &mut notes),
    };
    let mut raw = Vec::with_capacity(data.len());
    let (mut left_out, mut first_left_out) = (0, 0);
    for row in data {
        let time = match time_form {
            TimeForm::Clock => stamp::stamp(&field(row, time_at))
                .map(|mut stamp| {
                    if let (None, Some(date_at)) = (stamp.date, date_at) {
                        stamp.date = stamp::date(&field(row, date_at));
                    }
                    Time::Stamp(stamp)
                })
                .filter(Time::exists),
            form => {
                number(&field(row, time_at), decimal_comma).map(|n| Time::Elapsed(minutes(n, form)))
            }
        };
        let kiln = number(&field(row, kiln_at), decimal_comma);
        let asked = set_at.and_then(|at| number(&field(row, at), decimal_comma));
        match (time, kiln) {
            (Some(time), Some(kiln)) => raw.push(Raw { line: row.line, time, kiln, asked }),
            _ => {
                left_out += 1;
                first_left_out = if first_left_out == 0 { row.line } else { first_left_out };
            }
        }
    }
    let scale = match options.scale {
        Some(scale) => scale,
        None => find_scale(&raw, &columns[kiln_at], data, kiln_at, &mut notes),
    };
    let in_range = |raw: &Raw| (LEAST_C..=MOST_C).contains(&to_celsius(raw.kiln, scale));
    if let Some(first) = raw.iter().find(|raw| !in_range(raw)) {
        first_left_out =
            if first_left_out == 0 { first.line } else { first_left_out.min(first.line) };
    }
    let before = raw.len();
    raw.retain(in_range);
    left_out += before - raw.len();
    if left_out > 0 {
        notes.push(ReadNote::RowsLeftOut { count: left_out, first_line: first_left_out });
    }
    let curve = assemble(&raw, scale, &mut notes)?;
    Ok(ReadCurve { curve, columns, delimiter, decimal_comma, scale, time_form, notes })
}

/// A text cut into rows.
struct Cut {
    delimiter: char,
    rows: Vec<Row>,
    decimal_comma: bool,
}

fn cut(text: &str, options: &ReadOptions) -> Result<Cut, CurveRefusal> {
    let delimiter =
        options.delimiter.or_else(|| table::find_delimiter(text)).ok_or(CurveRefusal::NoTable)?;
    let rows = table::rows(text, delimiter);
    let decimal_comma = options.decimal_comma.unwrap_or_else(|| table::find_decimal_comma(&rows));
    Ok(Cut { delimiter, rows, decimal_comma })
}

/// The columns of a log with what they would be taken for, of one that cannot be read too: to
/// choose from.
///
/// # Refuses
/// Text without a table, and chosen columns that are not there.
pub fn columns(text: &str, options: &ReadOptions) -> Result<Vec<Column>, CurveRefusal> {
    let Cut { rows, decimal_comma, .. } = cut(text, options)?;
    let (heading, data) = columns::split_heading(&rows, decimal_comma);
    let mut columns = columns::guess(heading, data, decimal_comma);
    choose(&mut columns, options)?;
    Ok(columns)
}

/// Puts chosen columns in the place of guessed ones.
fn choose(columns: &mut [Column], options: &ReadOptions) -> Result<(), CurveRefusal> {
    let chosen = [
        (options.time_column, Role::Time),
        (options.kiln_column, Role::Kiln),
        (options.set_point_column, Role::SetPoint),
    ];
    for (index, role) in chosen {
        let Some(index) = index else { continue };
        if index >= columns.len() {
            let columns = columns.len();
            return Err(CurveRefusal::NoSuchColumn { column: index + 1, columns });
        }
        for column in columns.iter_mut() {
            if column.role == role {
                column.role = Role::Other;
            }
        }
        columns[index].role = role;
    }
    if options.kiln_column.is_some() {
        columns.iter_mut().filter(|c| c.role == Role::MaybeKiln).for_each(|c| c.role = Role::Other);
    }
    // Two that may be the kiln's, and one was chosen as the set point: the other is measured.
    let maybe: Vec<usize> =
        columns.iter().filter(|c| c.role == Role::MaybeKiln).map(|c| c.index).collect();
    if let ([one], Some(_)) = (maybe.as_slice(), options.set_point_column) {
        columns[*one].role = Role::Kiln;
    }
    Ok(())
}

fn minutes(number: f64, form: TimeForm) -> f64 {
    match form {
        TimeForm::Seconds => number / 60.0,
        TimeForm::Minutes | TimeForm::Clock => number,
        TimeForm::Hours => number * 60.0,
    }
}

fn find_time_form(
    data: &[Row],
    column: &Column,
    decimal_comma: bool,
    notes: &mut Vec<ReadNote>,
) -> TimeForm {
    let fields = || data.iter().filter_map(|row| row.fields.get(column.index));
    let numbers: Vec<f64> = fields().filter_map(|field| number(field, decimal_comma)).collect();
    if fields().filter(|field| stamp::stamp(field).is_some()).count() >= numbers.len() {
        return TimeForm::Clock;
    }
    if let Some(named) = column.heading.as_deref().and_then(columns::named_time) {
        return named;
    }
    // By the length of the log and its step: a firing lasts hours to days, and a controller
    // writes every second to every few minutes.
    let span = numbers.last().copied().unwrap_or(0.0) - numbers.first().copied().unwrap_or(0.0);
    let step = span / numbers.len().saturating_sub(1).max(1) as f64;
    let form = if span <= 100.0 && step < 0.5 {
        TimeForm::Hours
    } else if span <= 6000.0 && step <= 15.0 {
        TimeForm::Minutes
    } else {
        TimeForm::Seconds
    };
    notes.push(ReadNote::TimeUnitGuessed(form));
    form
}

fn find_scale(
    raw: &[Raw],
    column: &Column,
    data: &[Row],
    kiln_at: usize,
    notes: &mut Vec<ReadNote>,
) -> Scale {
    let in_heading = column.heading.as_deref().and_then(columns::named_scale);
    let in_field = || {
        let field = data.iter().find_map(|row| row.fields.get(kiln_at))?;
        columns::named_scale(field)
    };
    if let Some(named) = in_heading.or_else(in_field) {
        return named;
    }
    let first = raw.first().map_or(20.0, |raw| raw.kiln);
    let top = raw.iter().fold(f64::NEG_INFINITY, |top, raw| top.max(raw.kiln));
    // No mould is fired above 1100 °C, and a workshop is not above 45 °C.
    let scale = if top > 1100.0 || (first > 45.0 && first < 110.0) {
        Scale::Fahrenheit
    } else {
        Scale::Celsius
    };
    notes.push(ReadNote::ScaleGuessed(scale));
    scale
}
