//! Which column is what.

use super::stamp;
use super::table::{Row, number};

/// The scale temperatures are written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
}

/// How times are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeForm {
    /// `hours:minutes[:seconds]`, with or without a date: a clock, or the time elapsed.
    Clock,
    /// A number of seconds.
    Seconds,
    /// A number of minutes.
    Minutes,
    /// A number of hours.
    Hours,
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Date alone, beside a time of day.
    Date,
    /// Time.
    Time,
    /// The kiln's temperature.
    Kiln,
    /// What the controller asked for.
    SetPoint,
    /// One of several that may be the kiln's temperature, and nothing says which.
    MaybeKiln,
    /// Something else.
    Other,
}

/// A column as found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its place, counted from 0.
    pub index: usize,
    /// Its heading, if it has one.
    pub heading: Option<String>,
    /// What it is taken for.
    pub role: Role,
}

/// A share of readable fields below which a column is not taken for numbers or times, in percent.
const READABLE_PERCENT: usize = 60;
/// Rows looked at.
const LOOKED_AT: usize = 500;
/// A temperature of a firing moves by more than this, K.
const MOVES_K: f64 = 20.0;

/// Headings of what the controller asked for, the plainest first: words of the trade in English,
/// German, French, Italian, Spanish, Dutch, Polish and Swedish (common practice, no source).
const SET_POINT: [&[&str]; 2] = [
    &[
        "set",
        "setpoint",
        "setpt",
        "sp",
        "wsp",
        "sv",
        "target",
        "asked",
        "wanted",
        "demand",
        "soll",
        "sollwert",
        "solltemperatur",
        "solltemp",
        "tsoll",
        "ziel",
        "zielwert",
        "zieltemperatur",
        "vorgabe",
        "consigne",
        "consigna",
        "impostata",
        "impostato",
        "impostazione",
        "objetivo",
        "obiettivo",
        "ingesteld",
        "gewenst",
        "zadana",
        "zadane",
        "börvärde",
    ],
    &["programme", "program", "programm", "profile", "profil", "recipe", "schedule"],
];

/// Headings of what was measured, then of the kiln itself.
const MEASURED: [&[&str]; 2] = [
    &[
        "actual",
        "act",
        "pv",
        "measured",
        "process",
        "reading",
        "ist",
        "istwert",
        "isttemperatur",
        "isttemp",
        "tist",
        "gemessen",
        "messwert",
        "mesure",
        "mesuré",
        "mesurée",
        "mesuree",
        "réel",
        "réelle",
        "reel",
        "reelle",
        "effective",
        "misura",
        "misurata",
        "misurato",
        "reale",
        "effettiva",
        "medida",
        "medido",
        "real",
        "gemeten",
        "actueel",
        "zmierzona",
        "ärvärde",
        "thermocouple",
        "tc",
    ],
    &["kiln", "oven", "furnace", "chamber", "muffle", "ofen", "kammer", "four", "forno", "horno"],
];

/// Headings of a temperature that do not say whose.
const TEMPERATURE: &[&str] =
    &["temperature", "temp", "temperatur", "température", "temperatura", "temperatuur", "t"];

/// Headings of something that is not the kiln's temperature.
const ELSEWHERE: &[&str] = &[
    "power",
    "output",
    "out",
    "load",
    "room",
    "ambient",
    "leistung",
    "stellgrad",
    "raum",
    "umgebung",
    "puissance",
    "sortie",
    "potenza",
    "potencia",
    "vermogen",
    "segment",
    "step",
    "no",
    "nr",
    "kw",
    "kwh",
    "error",
    "deviation",
    "abweichung",
];

/// The rows below the heading, and the heading's fields.
pub(super) fn split_heading(rows: &[Row], decimal_comma: bool) -> (Option<&Row>, &[Row]) {
    let reads = |row: &Row| {
        row.fields
            .iter()
            .filter(|field| number(field, decimal_comma).is_some() || stamp::stamp(field).is_some())
            .count()
    };
    // Data begin with the first row that reads as at least two numbers or times and is followed
    // by another such row.
    let first = (0..rows.len()).find(|&index| {
        reads(&rows[index]) >= 2 && rows.get(index + 1).is_none_or(|next| reads(next) >= 2)
    });
    match first {
        Some(first) => {
            let width = rows[first].fields.len();
            let heading =
                rows[..first].iter().rev().find(|row| row.fields.len() == width && reads(row) == 0);
            (heading, &rows[first..])
        }
        None => (None, rows),
    }
}

/// The columns with the roles their headings and contents suggest.
pub(super) fn guess(heading: Option<&Row>, data: &[Row], decimal_comma: bool) -> Vec<Column> {
    let looked_at = &data[..data.len().min(LOOKED_AT)];
    let width = looked_at.iter().map(|row| row.fields.len()).max().unwrap_or(0);
    let mut columns: Vec<Column> = (0..width)
        .map(|index| Column {
            index,
            heading: heading
                .and_then(|row| row.fields.get(index))
                .filter(|name| !name.is_empty())
                .cloned(),
            role: Role::Other,
        })
        .collect();
    let share = |index: usize, good: &dyn Fn(&str) -> bool| {
        let all = looked_at.len().max(1);
        let good =
            looked_at.iter().filter(|row| row.fields.get(index).is_some_and(|f| good(f))).count();
        good * 100 / all
    };
    let clock = |index| share(index, &|f| stamp::stamp(f).is_some()) >= READABLE_PERCENT;
    let dated = |index| share(index, &|f| stamp::date(f).is_some()) >= READABLE_PERCENT;
    let numeric = |index| share(index, &|f| number(f, decimal_comma).is_some()) >= READABLE_PERCENT;

    let by_name = |columns: &[Column], words: &[&str], fit: &dyn Fn(usize) -> bool| {
        columns
            .iter()
            .filter(|column| column.role == Role::Other && fit(column.index))
            .find(|column| has_word(column, words))
            .map(|column| column.index)
    };
    let free = |columns: &[Column], fit: &dyn Fn(usize) -> bool| {
        columns.iter().find(|c| c.role == Role::Other && fit(c.index)).map(|c| c.index)
    };

    let rising = |index: usize| numeric(index) && is_rising(looked_at, index, decimal_comma);
    let time = free(&columns, &clock)
        .or_else(|| {
            by_name(&columns, &["time", "elapsed", "min", "minutes", "hours", "seconds"], &rising)
        })
        .or_else(|| free(&columns, &rising));
    if let Some(time) = time {
        columns[time].role = Role::Time;
        if clock(time) {
            if let Some(date) = free(&columns, &dated) {
                columns[date].role = Role::Date;
            }
        }
    }
    let moves = |index: usize| numeric(index) && range(looked_at, index, decimal_comma) > MOVES_K;
    // Of several that name it, one that moves: the number of a programme stays as it is.
    let named = |columns: &[Column], words: &[&str]| {
        by_name(columns, words, &moves).or_else(|| by_name(columns, words, &numeric))
    };
    let set = SET_POINT.iter().find_map(|words| named(&columns, words));
    if let Some(set) = set {
        columns[set].role = Role::SetPoint;
    }
    let other = |column: &Column| {
        SET_POINT.iter().chain(&[ELSEWHERE]).any(|words| has_word(column, words))
            || column.heading.as_deref().is_some_and(|heading| heading.contains('%'))
    };
    let left: Vec<Column> = columns.iter().filter(|column| !other(column)).cloned().collect();
    match MEASURED.iter().find_map(|words| named(&left, words)) {
        Some(kiln) => columns[kiln].role = Role::Kiln,
        None => unnamed(&mut columns, &left, &moves, &numeric),
    }
    columns
}

/// Takes for the kiln the only column that moves, of those called temperatures if there are any.
/// Of several that nothing tells apart each may be it.
fn unnamed(
    columns: &mut [Column],
    left: &[Column],
    moves: &dyn Fn(usize) -> bool,
    numeric: &dyn Fn(usize) -> bool,
) {
    let is_temperature = |column: &&Column| {
        has_word(column, TEMPERATURE)
            || column.heading.as_deref().is_some_and(|heading| named_scale(heading).is_some())
    };
    let of = |wanted: &dyn Fn(&&Column) -> bool, fit: &dyn Fn(usize) -> bool| -> Vec<usize> {
        left.iter()
            .filter(|column| column.role == Role::Other && fit(column.index))
            .filter(wanted)
            .map(|column| column.index)
            .collect()
    };
    let any = |_: &&Column| true;
    let tries: [Vec<usize>; 4] = [
        of(&is_temperature, moves),
        of(&any, moves),
        of(&is_temperature, numeric),
        of(&any, numeric),
    ];
    let Some(found) = tries.iter().position(|found| !found.is_empty()) else { return };
    match (found, tries[found].as_slice()) {
        (0 | 1, several @ [_, _, ..]) => {
            several.iter().for_each(|&index| columns[index].role = Role::MaybeKiln);
        }
        (_, [first, ..]) => columns[*first].role = Role::Kiln,
        (_, []) => {}
    }
}

/// Whether a heading has one of the words, whole.
fn has_word(column: &Column, words: &[&str]) -> bool {
    column.heading.as_deref().is_some_and(|heading| {
        heading
            .to_lowercase()
            .split(|c: char| !c.is_alphanumeric())
            .any(|part| words.contains(&part))
    })
}

fn numbers(data: &[Row], index: usize, comma: bool) -> impl Iterator<Item = f64> + '_ {
    data.iter().filter_map(move |row| number(row.fields.get(index)?, comma))
}

fn is_rising(data: &[Row], index: usize, comma: bool) -> bool {
    let all: Vec<f64> = numbers(data, index, comma).collect();
    all.len() > 1 && all.windows(2).all(|pair| pair[0] < pair[1])
}

fn range(data: &[Row], index: usize, comma: bool) -> f64 {
    let (low, high) = numbers(data, index, comma)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), n| (low.min(n), high.max(n)));
    high - low
}

/// The scale a heading or a unit in a field names.
pub(super) fn named_scale(text: &str) -> Option<Scale> {
    let lower = text.to_lowercase();
    let word = |wanted: &str| lower.split(|c: char| !c.is_alphabetic()).any(|part| part == wanted);
    if lower.contains("°f") || word("f") || word("degf") || word("fahrenheit") {
        Some(Scale::Fahrenheit)
    } else if lower.contains("°c") || word("c") || word("degc") || word("celsius") {
        Some(Scale::Celsius)
    } else {
        None
    }
}

/// The unit of time a heading names.
pub(super) fn named_time(heading: &str) -> Option<TimeForm> {
    let lower = heading.to_lowercase();
    lower.split(|c: char| !c.is_alphabetic()).find_map(|word| match word {
        "s" | "sec" | "secs" | "second" | "seconds" => Some(TimeForm::Seconds),
        "min" | "mins" | "minute" | "minutes" => Some(TimeForm::Minutes),
        "h" | "hr" | "hrs" | "hour" | "hours" => Some(TimeForm::Hours),
        _ => None,
    })
}
