//! How a log is read: what was chosen, and the form it is chosen in.

use foundry::heat::curve::{Column, ReadOptions, Scale, TimeForm};
use serde::{Deserialize, Serialize};

use crate::web::Form;

/// What is known of a log; what is `None` is found in the log itself.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct LogForm {
    /// The sign between fields.
    pub delimiter: Option<char>,
    /// Whether decimals are written with a comma.
    pub decimal_comma: Option<bool>,
    /// The column of the time, counted from 0.
    pub time_column: Option<usize>,
    /// The column of the kiln's temperature.
    pub kiln_column: Option<usize>,
    /// The column of the set point.
    pub set_point_column: Option<usize>,
    /// °F instead of °C.
    pub fahrenheit: Option<bool>,
    /// `clock`, `seconds`, `minutes` or `hours`.
    pub time_form: Option<String>,
    /// Where the programme begins in this log, in minutes of the log.
    pub starts_at_min: Option<f64>,
    /// An hour that is missing in this log is the clock's, which was put forward.
    pub hour_out: bool,
}

impl LogForm {
    /// What holds for every log of the kiln's controller.
    #[must_use]
    pub fn of_the_kiln(&self) -> Self {
        Self { starts_at_min: None, hour_out: false, ..self.clone() }
    }

    /// As foundry takes it.
    #[must_use]
    pub fn options(&self) -> ReadOptions {
        ReadOptions {
            delimiter: self.delimiter,
            decimal_comma: self.decimal_comma,
            time_column: self.time_column,
            kiln_column: self.kiln_column,
            set_point_column: self.set_point_column,
            scale: self.fahrenheit.map(|f| if f { Scale::Fahrenheit } else { Scale::Celsius }),
            time_form: self.time_form.as_deref().and_then(time_form),
        }
    }
}

fn time_form(word: &str) -> Option<TimeForm> {
    Some(match word {
        "clock" => TimeForm::Clock,
        "seconds" => TimeForm::Seconds,
        "minutes" => TimeForm::Minutes,
        "hours" => TimeForm::Hours,
        _ => return None,
    })
}

const DELIMITERS: [(&str, char); 5] =
    [("tab", '\t'), ("semicolon", ';'), ("bar", '|'), ("comma", ','), ("space", ' ')];

/// The lists to choose from: delimiters, decimal signs, scales, forms of times.
#[must_use]
pub fn choices_of(which: &str) -> Vec<(&'static str, &'static str)> {
    match which {
        "delimiter" => vec![
            ("", "find it"),
            ("tab", "tab"),
            ("semicolon", "semicolon"),
            ("bar", "bar"),
            ("comma", "comma"),
            ("space", "spaces"),
        ],
        "decimal" => vec![("", "find it"), ("point", "point, 21.5"), ("comma", "comma, 21,5")],
        "scale" => vec![("", "find it"), ("C", "°C"), ("F", "°F")],
        "time_form" => vec![
            ("", "find it"),
            ("clock", "clock or elapsed, 14:05"),
            ("seconds", "seconds"),
            ("minutes", "minutes"),
            ("hours", "hours"),
        ],
        _ => Vec::new(),
    }
}

/// The form of a log as it is read now.
#[must_use]
pub fn filled(form: &LogForm, columns: &[Column]) -> Form {
    let place = |chosen: Option<usize>, role| {
        chosen
            .or_else(|| columns.iter().find(|column| column.role == role).map(|found| found.index))
            .map(|index| index.to_string())
            .unwrap_or_default()
    };
    use foundry::heat::curve::Role;
    let delimiter = form.delimiter.and_then(|sign| {
        DELIMITERS.iter().find(|(_, known)| *known == sign).map(|(word, _)| (*word).to_owned())
    });
    let word = |chosen: Option<bool>, yes: &str, no: &str| {
        chosen.map(|chosen| (if chosen { yes } else { no }).to_owned()).unwrap_or_default()
    };
    Form::filled([
        ("delimiter", delimiter.unwrap_or_default()),
        ("decimal", word(form.decimal_comma, "comma", "point")),
        ("scale", word(form.fahrenheit, "F", "C")),
        ("time_form", form.time_form.clone().unwrap_or_default()),
        ("time", place(form.time_column, Role::Time)),
        ("kiln", place(form.kiln_column, Role::Kiln)),
        ("set_point", place(form.set_point_column, Role::SetPoint)),
        ("starts_at", form.starts_at_min.map(|minute| minute.to_string()).unwrap_or_default()),
        ("hour_out", if form.hour_out { "yes".to_owned() } else { String::new() }),
    ])
}

/// Reads what was chosen; `None` after noting what is wrong.
pub fn read_form(form: &mut Form) -> Option<LogForm> {
    let chosen = |form: &mut Form, name: &'static str| {
        let typed = form.value(name).to_owned();
        if !choices_of(name).iter().any(|(value, _)| *value == typed) {
            form.wrong(name, "Choose one of these.");
        }
        typed
    };
    let delimiter = chosen(form, "delimiter");
    let decimal = chosen(form, "decimal");
    let scale = chosen(form, "scale");
    let times = chosen(form, "time_form");
    let column = |form: &mut Form, name: &str| {
        if form.value(name).is_empty() {
            return None;
        }
        form.whole(name, 0, 499).and_then(|n| usize::try_from(n).ok())
    };
    let (time_column, kiln_column) = (column(form, "time"), column(form, "kiln"));
    let set_point_column = column(form, "set_point");
    if time_column.is_some() && time_column == kiln_column {
        form.wrong("kiln", "Time and temperature cannot stand in the same column.");
    }
    if set_point_column.is_some()
        && (set_point_column == kiln_column || set_point_column == time_column)
    {
        form.wrong("set_point", "This column is taken for something else already.");
    }
    let starts_at_min = form.number_or_none("starts_at", -10_080.0, 10_080.0);
    let read = LogForm {
        delimiter: DELIMITERS.iter().find(|(word, _)| *word == delimiter).map(|(_, sign)| *sign),
        decimal_comma: (!decimal.is_empty()).then(|| decimal == "comma"),
        time_column,
        kiln_column,
        set_point_column,
        fahrenheit: (!scale.is_empty()).then(|| scale == "F"),
        time_form: time_form(&times).map(|_| times),
        starts_at_min,
        hour_out: form.ticked("hour_out"),
    };
    form.good().then_some(read)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_chosen_comes_back_as_it_was() {
        let chosen = LogForm {
            delimiter: Some('\t'),
            decimal_comma: Some(true),
            time_column: Some(0),
            kiln_column: Some(3),
            set_point_column: None,
            fahrenheit: Some(true),
            time_form: Some("minutes".to_owned()),
            starts_at_min: Some(-4.5),
            hour_out: true,
        };
        assert_eq!(read_form(&mut filled(&chosen, &[])), Some(chosen));
        assert_eq!(read_form(&mut filled(&LogForm::default(), &[])), Some(LogForm::default()));
    }

    #[test]
    fn one_column_is_not_two_things() {
        let mut form = Form::parse(b"delimiter=&decimal=&scale=&time_form=&time=1&kiln=1");
        assert_eq!(read_form(&mut form), None);
        assert!(form.error("kiln").is_some());
    }
}
