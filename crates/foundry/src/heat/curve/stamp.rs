//! Clock stamps: dates and times of day as loggers write them.

/// A date as its three numbers in the order written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RawDate {
    numbers: [i64; 3],
    year_first: bool,
}

/// Which number of a date that ends in its year is the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DayPlace {
    First,
    Second,
}

/// A stamp: minutes of the day, perhaps with a date and a distance from universal time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stamp {
    pub(super) date: Option<RawDate>,
    pub(super) minute: f64,
    /// Minutes ahead of universal time, when the stamp says so.
    pub(super) zone_min: Option<f64>,
}

impl RawDate {
    /// Days since an arbitrary day; `None` when there is no such day.
    pub(super) fn days(self, place: DayPlace) -> Option<i64> {
        let [a, b, c] = self.numbers;
        let (year, month, day) = match (self.year_first, place) {
            (true, _) => (a, b, c),
            (false, DayPlace::First) => (c, b, a),
            (false, DayPlace::Second) => (c, a, b),
        };
        let year = if (0..100).contains(&year) { year + 2000 } else { year };
        if !(1..=12).contains(&month) || !(1..=days_of(year, month)).contains(&day) {
            return None;
        }
        // Days before a month in a year that begins in March, after H. Fliegel and T. van
        // Flandern, Communications of the ACM 11 (1968) 657, in their later usual form.
        let (y, m) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
        Some(
            365 * y + y.div_euclid(4) - y.div_euclid(100)
                + y.div_euclid(400)
                + (153 * m + 2) / 5
                + day,
        )
    }
}

fn days_of(year: i64, month: i64) -> i64 {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    match month {
        2 => 28 + i64::from(leap),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Reads a date alone.
pub(super) fn date(text: &str) -> Option<RawDate> {
    let parts: Vec<&str> = text.trim().split(['-', '/', '.']).collect();
    let [a, b, c] = parts[..] else { return None };
    let of = |part: &str| -> Option<i64> {
        (part.len() <= 4 && !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit()))
            .then(|| part.parse().ok())?
    };
    let numbers = [of(a)?, of(b)?, of(c)?];
    Some(RawDate { numbers, year_first: a.len() == 4 })
}

/// Reads `[date ]hours:minutes[:seconds][ AM|PM][Z|±hh[:]mm]`; the date may be joined by a `T`.
pub(super) fn stamp(text: &str) -> Option<Stamp> {
    let text = text.trim();
    let (date_part, time_part) = match text.find(['T', ' ']) {
        Some(at) if date(&text[..at]).is_some() => (date(&text[..at]), &text[at + 1..]),
        _ => (None, text),
    };
    let (clock, zone_min) = split_zone(time_part.trim());
    let minute = time_of_day(clock)?;
    Some(Stamp { date: date_part, minute, zone_min })
}

fn split_zone(text: &str) -> (&str, Option<f64>) {
    if let Some(clock) = text.strip_suffix(['Z', 'z']) {
        return (clock, Some(0.0));
    }
    let Some(at) = text.rfind(['+', '-']).filter(|at| *at > 0) else { return (text, None) };
    let sign = if text[at..].starts_with('-') { -1.0 } else { 1.0 };
    let digits: String = text[at + 1..].chars().filter(char::is_ascii_digit).collect();
    let zone = match (digits.len(), digits.parse::<u32>()) {
        (2, Ok(hours)) => f64::from(hours) * 60.0,
        (4, Ok(both)) => f64::from(both / 100 * 60 + both % 100),
        _ => return (text, None),
    };
    (&text[..at], Some(sign * zone))
}

fn time_of_day(text: &str) -> Option<f64> {
    let upper = text.trim().to_ascii_uppercase();
    let (clock, half) = match (upper.strip_suffix("AM"), upper.strip_suffix("PM")) {
        (Some(clock), _) => (clock, Some(false)),
        (_, Some(clock)) => (clock, Some(true)),
        _ => (upper.as_str(), None),
    };
    let parts: Vec<&str> = clock.trim().split(':').collect();
    if !(2..=3).contains(&parts.len()) {
        return None;
    }
    let whole = |part: &str, most: u32| -> Option<f64> {
        let digits =
            !part.is_empty() && part.len() <= 4 && part.bytes().all(|b| b.is_ascii_digit());
        let number: u32 = digits.then(|| part.parse().ok())??;
        (number <= most).then_some(f64::from(number))
    };
    let mut hours = whole(parts[0], 9999)?;
    if let Some(after_noon) = half {
        if !(1.0..=12.0).contains(&hours) {
            return None;
        }
        hours = hours % 12.0 + if after_noon { 12.0 } else { 0.0 };
    }
    let minutes = whole(parts[1], 59)?;
    let seconds = match parts.get(2) {
        Some(part) => {
            let (whole_part, fraction) = part.split_once(['.', ',']).unwrap_or((part, ""));
            let fraction: f64 =
                if fraction.is_empty() { 0.0 } else { format!("0.{fraction}").parse().ok()? };
            whole(whole_part, 60)? + fraction
        }
        None => 0.0,
    };
    Some(hours * 60.0 + minutes + seconds / 60.0)
}
