//! What is said about a log: notes on what was guessed, and refusals.

use std::fmt;

use super::columns::{Scale, TimeForm};
use crate::quantity::Minutes;

/// What the reader had to guess or leave out. Its `Display` is the sentence to show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ReadNote {
    /// No scale was named.
    ScaleGuessed(Scale),
    /// No unit of time was named.
    TimeUnitGuessed(TimeForm),
    /// Rows without a readable time and temperature.
    RowsLeftOut {
        /// How many.
        count: usize,
        /// The line of the first.
        first_line: usize,
    },
    /// Several readings at one moment, of which the last was kept.
    SameMoment {
        /// How many were dropped.
        count: usize,
    },
    /// A long time without a reading.
    Gap {
        /// When it begins.
        from: Minutes,
        /// How long it lasts.
        minutes: Minutes,
    },
    /// The clock went back by an hour; the hour was added to all later readings.
    ClockPutBack {
        /// When.
        at: Minutes,
    },
    /// An hour is missing: the clock was put forward, or the log has a gap. Nothing was changed.
    HourMissing {
        /// When.
        at: Minutes,
    },
}

impl fmt::Display for ReadNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::ScaleGuessed(Scale::Celsius) => {
                f.write_str("no scale is named; read as °C. Choose °F if that is wrong")
            }
            Self::ScaleGuessed(Scale::Fahrenheit) => {
                f.write_str("no scale is named; read as °F. Choose °C if that is wrong")
            }
            Self::TimeUnitGuessed(form) => {
                let unit = match form {
                    TimeForm::Clock => "clock times",
                    TimeForm::Seconds => "seconds",
                    TimeForm::Minutes => "minutes",
                    TimeForm::Hours => "hours",
                };
                write!(f, "no unit of time is named; read as {unit}")
            }
            Self::RowsLeftOut { count, first_line } => write!(
                f,
                "{count} rows without a readable time and temperature were left out, the first in \
                 line {first_line}"
            ),
            Self::SameMoment { count } => {
                write!(f, "{count} readings share their moment with a later one and were dropped")
            }
            Self::Gap { from, minutes } => write!(
                f,
                "no reading for {:.0} min from minute {:.0} on",
                minutes.get(),
                from.get()
            ),
            Self::ClockPutBack { at } => write!(
                f,
                "the clock goes back by an hour at minute {:.0}; later readings were moved on by it",
                at.get()
            ),
            Self::HourMissing { at } => write!(
                f,
                "an hour is missing at minute {:.0}: a gap, or the clock put forward. If it was \
                 the clock, the firing was an hour shorter than shown",
                at.get()
            ),
        }
    }
}

/// Why a log could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CurveRefusal {
    /// Nothing in it.
    #[error("the text has no rows of several fields; give a table with a time and a temperature")]
    NoTable,
    /// More than is taken.
    #[error("the text has {bytes} bytes; {most} are the most that are taken")]
    TooLong {
        /// Its length.
        bytes: usize,
        /// The longest taken.
        most: usize,
    },
    /// No column of times.
    #[error("no column of times was found; choose one, with times as 14:05 or rising numbers")]
    NoTime,
    /// No column of temperatures.
    #[error("no column of temperatures was found; choose one")]
    NoTemperature,
    /// Several columns move like a temperature, and no heading says which is measured.
    #[error("columns {} all move like temperatures, and no heading says which was measured in the \
             kiln and which is the set point: choose the kiln's", .columns.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and "))]
    WhichTemperature {
        /// The columns, counted from 1.
        columns: Vec<usize>,
    },
    /// A chosen column that is not there.
    #[error("there is no column {column}; the table has {columns}")]
    NoSuchColumn {
        /// The one chosen, counted from 1.
        column: usize,
        /// How many there are.
        columns: usize,
    },
    /// Not enough to make a curve.
    #[error("{found} readings were found; a curve needs two")]
    TooFewPoints {
        /// How many there are.
        found: usize,
    },
    /// Time goes back, and not by an hour of the clock.
    #[error("time goes back at line {line}; sort the rows, or leave out the earlier firing")]
    TimeRunsBack {
        /// Where.
        line: usize,
    },
}
