//! Forms: what was typed, read into what it means, with a message at each field.

use std::collections::BTreeMap;
use std::str::FromStr;

use askama::Template;
use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use rust_decimal::Decimal;
use uuid::Uuid;

use crate::clock::Day;
use crate::web::{Fault, Html, Refused, SURE};

/// A form as it was sent, and what is wrong with it. Reading a field records
/// what it finds wrong, so that a page can be shown again with every message
/// beside its field and everything that was typed still there.
#[derive(Clone, Debug, Default)]
pub struct Form {
    typed: Vec<(String, String)>,
    errors: BTreeMap<String, String>,
    key: Option<Uuid>,
}

impl<S: Send + Sync> FromRequest<S> for Form {
    type Rejection = Fault;

    async fn from_request(request: Request, state: &S) -> Result<Self, Fault> {
        let body = Bytes::from_request(request, state).await.map_err(|_| {
            Fault::Refused(Refused {
                status: StatusCode::PAYLOAD_TOO_LARGE,
                message: "The form was too large to be read; send less text at once.".to_owned(),
                field: None,
            })
        })?;
        Ok(Self::parse(&body))
    }
}

/// Whether it is a number as people write one. `1e9` and `1_0` are such in programs only, and on
/// a form they are a slip of the hand.
fn is_plain(typed: &str) -> bool {
    typed.chars().all(|sign| sign.is_ascii_digit() || matches!(sign, '.' | '-' | '+'))
}

impl Form {
    /// An empty form with fields already filled in.
    #[must_use]
    pub fn filled<const N: usize>(fields: [(&str, String); N]) -> Self {
        let typed = fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        Self { typed, ..Self::default() }
    }

    /// Reads `application/x-www-form-urlencoded`.
    #[must_use]
    pub fn parse(body: &[u8]) -> Self {
        let typed = body
            .split(|byte| *byte == b'&')
            .filter(|pair| !pair.is_empty())
            .map(|pair| {
                let split = pair.iter().position(|byte| *byte == b'=').unwrap_or(pair.len());
                (unescape(&pair[..split]), unescape(pair.get(split + 1..).unwrap_or_default()))
            })
            .collect();
        Self { typed, ..Self::default() }
    }

    /// Adds a field, for forms that came in parts.
    pub fn put(&mut self, name: &str, value: &str) {
        self.typed.push((name.to_owned(), value.to_owned()));
    }

    /// Puts a value in a field in place of what was typed.
    pub fn set(&mut self, name: &str, value: &str) {
        self.typed.retain(|(field, _)| field != name);
        self.put(name, value);
    }

    /// What was typed in a field; empty when there is none.
    #[must_use]
    pub fn value(&self, name: &str) -> &str {
        self.typed.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value)
    }

    /// Everything sent under a name, such as ticked boxes.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.typed.iter().filter(move |(field, _)| field == name).map(|(_, value)| value.as_str())
    }

    /// Every field as it was sent, for a page that sends the form once more.
    pub fn typed(&self) -> impl Iterator<Item = (&str, &str)> {
        self.typed.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// Whether a box was ticked.
    #[must_use]
    pub fn ticked(&self, name: &str) -> bool {
        !self.value(name).is_empty()
    }

    /// The message at a field.
    #[must_use]
    pub fn error(&self, name: &str) -> Option<&str> {
        self.errors.get(name).map(String::as_str)
    }

    /// Every field with what is wrong with it.
    pub fn errors(&self) -> impl Iterator<Item = (&str, &str)> {
        self.errors.iter().map(|(name, message)| (name.as_str(), message.as_str()))
    }

    /// The message about the form as a whole.
    #[must_use]
    pub fn general_error(&self) -> Option<&str> {
        self.error("")
    }

    /// Whether every field read so far was right.
    #[must_use]
    pub fn good(&self) -> bool {
        self.errors.is_empty()
    }

    /// Notes what is wrong with a field; the first message stays.
    pub fn wrong(&mut self, name: &str, message: impl Into<String>) {
        self.errors.entry(name.to_owned()).or_insert_with(|| message.into());
    }

    /// Notes a refusal at its field, or above the form.
    pub fn refuse(&mut self, refused: &Refused) {
        self.wrong(refused.field.unwrap_or(""), refused.message.clone());
    }

    /// The key that makes a form sent twice happen once. A form without one is new each time.
    #[must_use]
    pub fn key(&mut self) -> Uuid {
        let sent = Uuid::parse_str(self.value("once")).ok();
        *self.key.get_or_insert_with(|| sent.unwrap_or_else(Uuid::now_v7))
    }

    /// The hidden field that carries the key. A form that is shown again gets a
    /// new one, for its first sending was not done.
    #[must_use]
    pub fn once(&self) -> Html {
        Html::trusted(format!("<input type=\"hidden\" name=\"once\" value=\"{}\">", Uuid::now_v7()))
    }

    /// Whether somebody said that what was doubted is so.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.ticked(SURE)
    }

    /// The doubt with its tick, for a form that is shown again; nothing when nothing was doubted.
    /// The tick is never kept: a second doubt is told as well.
    #[must_use]
    pub fn doubt(&self) -> Html {
        match self.error(SURE) {
            Some(doubt) => Html::of(&DoubtPart { doubt }),
            None => Html::default(),
        }
    }

    /// Text with its white space trimmed; empty is allowed.
    pub fn text(&mut self, name: &str, most: usize) -> String {
        let text: String = self.value(name).trim().replace('\0', "");
        if text.chars().count() > most {
            self.wrong(
                name,
                format!("This is too long; {most} characters are the most that can be kept."),
            );
        }
        text
    }

    /// Text that must not be empty.
    pub fn needed(&mut self, name: &str, most: usize) -> String {
        let text = self.text(name, most);
        if text.is_empty() {
            self.wrong(name, "This is needed.");
        }
        text
    }

    /// A single line of text: line breaks are refused, as in an e-mail address.
    pub fn line(&mut self, name: &str, most: usize) -> String {
        let text = self.text(name, most);
        if text.contains(['\n', '\r']) {
            self.wrong(name, "This must be a single line.");
        }
        text
    }

    /// A number within limits; `None` after noting what is wrong. Accepts a decimal comma.
    pub fn number(&mut self, name: &str, least: f64, most: f64) -> Option<f64> {
        let typed =
            self.value(name).trim().replace(',', ".").replace(['\u{202f}', '\u{a0}', ' '], "");
        if typed.is_empty() {
            self.wrong(name, "A number is needed.");
            return None;
        }
        match typed.parse::<f64>() {
            Ok(_) if !is_plain(&typed) => {
                self.wrong(name, format!("“{}” is not a number.", self.value(name).trim()));
                None
            }
            Ok(value) if value.is_finite() && (least..=most).contains(&value) => Some(value),
            Ok(_) => {
                self.wrong(name, format!("This must be between {least} and {most}."));
                None
            }
            Err(_) => {
                self.wrong(name, format!("“{}” is not a number.", self.value(name).trim()));
                None
            }
        }
    }

    /// A number that may be left out.
    pub fn number_or_none(&mut self, name: &str, least: f64, most: f64) -> Option<f64> {
        if self.value(name).trim().is_empty() { None } else { self.number(name, least, most) }
    }

    /// A whole number within limits.
    pub fn whole(&mut self, name: &str, least: i64, most: i64) -> Option<i64> {
        let typed = self.value(name).trim().to_owned();
        match typed.parse::<i64>() {
            Ok(value) if (least..=most).contains(&value) => Some(value),
            Ok(_) => {
                self.wrong(name, format!("This must be between {least} and {most}."));
                None
            }
            Err(_) if typed.is_empty() => {
                self.wrong(name, "A whole number is needed.");
                None
            }
            Err(_) => {
                self.wrong(name, format!("“{typed}” is not a whole number."));
                None
            }
        }
    }

    /// An exact decimal number with at most so many decimals, within limits.
    pub fn decimal(
        &mut self,
        name: &str,
        least: Decimal,
        most: Decimal,
        decimals: u32,
    ) -> Option<Decimal> {
        let typed =
            self.value(name).trim().replace(',', ".").replace(['\u{202f}', '\u{a0}', ' '], "");
        let value = Decimal::from_str(&typed).ok().filter(|_| is_plain(&typed));
        let Some(value) = value else {
            let message = if typed.is_empty() {
                "A number is needed.".to_owned()
            } else {
                format!("“{}” is not a number.", self.value(name).trim())
            };
            self.wrong(name, message);
            return None;
        };
        if value.normalize().scale() > decimals {
            self.wrong(name, format!("At most {decimals} decimals can be kept here."));
            return None;
        }
        if value < least || value > most {
            self.wrong(name, format!("This must be between {least} and {most}."));
            return None;
        }
        Some(value)
    }

    /// A day; browsers send `2026-11-25`.
    pub fn day(&mut self, name: &str) -> Option<Day> {
        let typed = self.value(name).trim().to_owned();
        match typed.parse() {
            Ok(date) => Some(Day(date)),
            Err(_) => {
                self.wrong(name, "A day is needed, written like 2026-11-25.");
                None
            }
        }
    }

    /// A day that may be left out.
    pub fn day_or_none(&mut self, name: &str) -> Option<Day> {
        if self.value(name).trim().is_empty() { None } else { self.day(name) }
    }

    /// An id or other value chosen from a list.
    pub fn choice<T: FromStr>(&mut self, name: &str) -> Option<T> {
        match self.value(name).parse() {
            Ok(value) => Some(value),
            Err(_) => {
                self.wrong(name, "Choose one of these.");
                None
            }
        }
    }

    /// The number of the thing's version that the form was made from.
    #[must_use]
    pub fn version(&self) -> i64 {
        self.value("version").parse().unwrap_or(-1)
    }

    /// Begins an input of this form, for a template.
    #[must_use]
    pub fn input<'a>(&'a self, name: &'a str, label: &'a str) -> Input<'a> {
        Input {
            name,
            label,
            value: self.value(name),
            error: self.error(name),
            kind: "text",
            hint: "",
            unit: "",
            required: false,
            attributes: "",
            options: Vec::new(),
            headings: Vec::new(),
            id: format!("f-{name}"),
        }
    }
}

#[derive(Template)]
#[template(path = "parts/doubt.html")]
struct DoubtPart<'a> {
    doubt: &'a str,
}

/// One labelled input with its message, its hint and its unit.
#[derive(Clone, Debug, Template)]
#[template(path = "parts/input.html")]
pub struct Input<'a> {
    name: &'a str,
    label: &'a str,
    value: &'a str,
    error: Option<&'a str>,
    kind: &'a str,
    hint: &'a str,
    unit: &'a str,
    required: bool,
    attributes: &'static str,
    options: Vec<(String, String)>,
    /// Headings of the options, each with the number of those under it; none where there are none.
    headings: Vec<(String, usize)>,
    id: String,
}

impl<'a> Input<'a> {
    /// The kind: `text`, `password`, `email`, `tel`, `date`, `number`, `decimal`, `area`, `select`, `check`.
    #[must_use]
    pub fn kind(mut self, kind: &'a str) -> Self {
        self.kind = kind;
        self
    }

    /// A line below the label that helps.
    #[must_use]
    pub fn hint(mut self, hint: &'a str) -> Self {
        self.hint = hint;
        self
    }

    /// The unit shown after the field.
    #[must_use]
    pub fn unit(mut self, unit: &'a str) -> Self {
        self.unit = unit;
        self
    }

    /// Marks it as needed.
    #[must_use]
    pub fn required(mut self) -> Self {
        self.required = true;
        self
    }

    /// Further attributes, written by the program.
    #[must_use]
    pub fn with(mut self, attributes: &'static str) -> Self {
        self.attributes = attributes;
        self
    }

    /// Tells apart the same field of several forms on one page.
    #[must_use]
    pub fn in_form(mut self, which: impl ToString) -> Self {
        self.id = format!("f-{}-{}", self.name, which.to_string());
        self
    }

    /// A list to choose from that may be left at nothing.
    #[must_use]
    pub fn options_or_none<V: ToString, W: ToString>(self, options: impl AsRef<[(V, W)]>) -> Self {
        let mut list = self.options(options);
        list.options.insert(0, (String::new(), "choose".to_owned()));
        list
    }

    /// Tells it from the same field of other forms on the page.
    #[must_use]
    pub fn within(mut self, form: impl std::fmt::Display) -> Self {
        self.id = format!("f-{}-{form}", self.name);
        self
    }

    /// Makes it a list to choose from: `(value, words)`.
    #[must_use]
    pub fn options<V: ToString, W: ToString>(mut self, options: impl AsRef<[(V, W)]>) -> Self {
        self.kind = "select";
        self.options = options
            .as_ref()
            .iter()
            .map(|(value, words)| (value.to_string(), words.to_string()))
            .collect();
        self
    }

    /// The same under headings, each with its options.
    #[must_use]
    pub fn options_under<V: ToString, W: ToString>(
        self,
        groups: impl AsRef<[(String, Vec<(V, W)>)]>,
    ) -> Self {
        let groups = groups.as_ref();
        let all: Vec<(String, String)> = groups
            .iter()
            .flat_map(|(_, options)| options)
            .map(|(value, words)| (value.to_string(), words.to_string()))
            .collect();
        let headings = groups.iter().map(|(name, of)| (name.clone(), of.len())).collect();
        Self { headings, ..self.options(all) }
    }

    /// The options with the heading over each run of them.
    fn grouped(&self) -> Vec<(&str, &[(String, String)])> {
        let mut rest = self.options.as_slice();
        let mut grouped = Vec::new();
        for (name, count) in &self.headings {
            let (these, others) = rest.split_at((*count).min(rest.len()));
            grouped.push((name.as_str(), these));
            rest = others;
        }
        grouped
    }

    fn is(&self, kind: &str) -> bool {
        self.kind == kind
    }

    fn chosen(&self, option: &str) -> bool {
        self.value == option
    }

    /// The finished markup.
    #[must_use]
    pub fn html(&self) -> Html {
        Html::of(self)
    }
}

fn unescape(bytes: &[u8]) -> String {
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while let Some(&byte) = bytes.get(at) {
        let hex = |n: usize| bytes.get(n).and_then(|digit| (*digit as char).to_digit(16));
        match (byte, hex(at + 1), hex(at + 2)) {
            (b'%', Some(high), Some(low)) => {
                out.push((high * 16 + low) as u8);
                at += 3;
                continue;
            }
            (b'+', ..) => out.push(b' '),
            _ => out.push(byte),
        }
        at += 1;
    }
    String::from_utf8_lossy(&out).into_owned()
}

/// Writes text so that it can stand in a query.
#[must_use]
pub(crate) fn percent(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.~/".contains(&byte) {
            out.push(byte as char);
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_typed_is_read_back_as_it_was() {
        let form = Form::parse(b"name=M%C3%BCller+%26+Co&size=&size=2");
        assert_eq!(form.value("name"), "Müller & Co");
        assert_eq!(form.all("size").collect::<Vec<_>>(), ["", "2"]);
    }

    #[test]
    fn a_broken_escape_is_kept_and_never_panics() {
        assert_eq!(Form::parse(b"a=%4&b=%&c=%zz").value("a"), "%4");
    }

    #[test]
    fn every_wrong_field_has_its_message() {
        let mut form = Form::parse(b"mass=heavy&n=99&price=1.123456789");
        assert_eq!(form.number("mass", 0.0, 10.0), None);
        assert_eq!(form.whole("n", 1, 9), None);
        assert_eq!(form.decimal("price", Decimal::ZERO, Decimal::TEN, 4), None);
        assert!(!form.good());
        assert!(
            form.error("mass").is_some()
                && form.error("n").is_some()
                && form.error("price").is_some()
        );
    }
}
