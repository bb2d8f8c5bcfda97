//! Events as text in the form of RFC 5545, with the name and refresh interval of RFC 7986.

use std::fmt::Write as _;

use crate::clock::{Day, Moment};

/// When something is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum When {
    From(Moment, Moment),
    On(Day),
}

/// Something in the calendar.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Event {
    /// Always the same for the same thing.
    pub(super) uid: String,
    pub(super) when: When,
    pub(super) summary: String,
    pub(super) description: String,
    pub(super) location: String,
}

/// The longest line in octets, without its end (RFC 5545, section 3.1).
const LONGEST: usize = 75;

/// The whole calendar.
pub(super) fn calendar(name: &str, events: &[Event], now: Moment) -> String {
    let mut out = String::new();
    line(&mut out, "BEGIN", "VCALENDAR");
    line(&mut out, "VERSION", "2.0");
    line(&mut out, "PRODID", "-//Pourday//Plan//EN");
    line(&mut out, "CALSCALE", "GREGORIAN");
    line(&mut out, "NAME", &escaped(name));
    line(&mut out, "REFRESH-INTERVAL;VALUE=DURATION", "PT1H");
    for event in events {
        line(&mut out, "BEGIN", "VEVENT");
        line(&mut out, "UID", &event.uid);
        line(&mut out, "DTSTAMP", &utc(now));
        match event.when {
            When::From(from, to) => {
                line(&mut out, "DTSTART", &utc(from));
                // An event ends after it starts (section 3.8.2.2).
                let to = if to > from { to } else { from.plus_minutes(1) };
                line(&mut out, "DTEND", &utc(to));
            }
            When::On(day) => {
                line(&mut out, "DTSTART;VALUE=DATE", &date(day));
                line(&mut out, "DTEND;VALUE=DATE", &date(day.plus_days(1)));
                line(&mut out, "TRANSP", "TRANSPARENT");
            }
        }
        line(&mut out, "SUMMARY", &escaped(&event.summary));
        if !event.description.is_empty() {
            line(&mut out, "DESCRIPTION", &escaped(&event.description));
        }
        if !event.location.is_empty() {
            line(&mut out, "LOCATION", &escaped(&event.location));
        }
        line(&mut out, "END", "VEVENT");
    }
    line(&mut out, "END", "VCALENDAR");
    out
}

fn utc(moment: Moment) -> String {
    moment.0.strftime("%Y%m%dT%H%M%SZ").to_string()
}

fn date(day: Day) -> String {
    day.0.strftime("%Y%m%d").to_string()
}

/// Text as a value (section 3.3.11); other control characters are left out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.replace("\r\n", "\n").chars() {
        match c {
            '\\' => out.push_str("\\\\"),
            ';' => out.push_str("\\;"),
            ',' => out.push_str("\\,"),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// Adds a line, folded so that none is longer than 75 octets and no character is cut.
fn line(out: &mut String, name: &str, value: &str) {
    let mut whole = String::new();
    let _ = write!(whole, "{name}:{value}");
    let mut room = LONGEST;
    for c in whole.chars() {
        if c.len_utf8() > room {
            out.push_str("\r\n ");
            room = LONGEST - 1;
        }
        out.push(c);
        room -= c.len_utf8();
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_between_characters_and_unfold_to_what_they_were() {
        let mut out = String::new();
        let value = "Ä€𝛼 ring, ".repeat(40);
        line(&mut out, "SUMMARY", &escaped(&value));
        assert!(out.ends_with("\r\n"));
        for folded in out.trim_end_matches("\r\n").split("\r\n") {
            assert!(folded.len() <= LONGEST, "{}", folded.len());
        }
        let unfolded = out.replace("\r\n ", "");
        assert_eq!(unfolded, format!("SUMMARY:{}\r\n", value.replace(',', "\\,")));
    }

    #[test]
    fn what_would_end_a_value_is_escaped() {
        assert_eq!(escaped("a;b,c\\d\r\ne\u{7}f"), "a\\;b\\,c\\\\d\\nef");
    }
}
