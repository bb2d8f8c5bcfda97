//! What the owner types about the studio.

use jiff::tz::TimeZone;
use rust_decimal::Decimal;

use crate::clock::Day;
use crate::studio::{Settings, Stretches};
use crate::web::{Form, Html};

/// The days of the week from Monday, as ISO 8601 counts them.
const WEEKDAYS: [&str; 7] =
    ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

/// How many stretches of work a day can have.
const STRETCHES: usize = 2;

/// Reads the settings; `None` after noting at each field what is wrong with it.
pub(super) fn read_settings(form: &mut Form) -> Option<Settings> {
    let version = form.version();
    let name = form.needed("name", 200);
    let time_zone = form.needed("time_zone", 80);
    if !time_zone.is_empty() && TimeZone::get(&time_zone).is_err() {
        form.wrong("time_zone", "This is not a time zone known here; write it like Europe/Lisbon.");
    }
    let currency = form.needed("currency", 3).to_uppercase();
    if let Err(refusal) = foundry::quantity::Currency::by_code(&currency) {
        form.wrong("currency", refusal.to_string());
    }
    let temperature_unit = one_of(form, "temperature_unit", &["C", "F"]);
    let length_unit = one_of(form, "length_unit", &["mm", "inch"]);
    let mass_unit = one_of(form, "mass_unit", &["g", "dwt", "ozt"]);

    let most_rate = Decimal::from(1_000_000);
    let bench_rate = form.decimal("bench_rate", Decimal::ZERO, most_rate, 4);
    let finishing_rate = form.decimal("finishing_rate", Decimal::ZERO, most_rate, 4);
    let set_up_minutes = whole(form, "set_up_minutes", 0, 10_000);
    let bench_minutes = whole(form, "bench_minutes", 0, 10_000);
    let overhead = share(form, "overhead", 1000);
    let margin = below_all(form, "margin");
    let tax_name = form.needed("tax_name", 40);
    let tax_rate = share(form, "tax_rate", 100);
    let tax_inclusive = form.ticked("tax_inclusive");
    let deposit = share(form, "deposit", 100);
    let quote_valid_days = whole(form, "quote_valid_days", 1, 365);
    let metal_loss = below_all(form, "metal_loss");
    let button_share = share(form, "button_share", 199);
    let least_fresh = share(form, "least_fresh", 100);

    let load_min = whole(form, "load_min", 1, 600);
    let pour_min = whole(form, "pour_min", 1, 600);
    let alloy_change_min = whole(form, "alloy_change_min", 0, 600);
    let max_hold_min = whole(form, "max_hold_min", 0, 10_080);
    let max_pour_span_min = whole(form, "max_pour_span_min", 0, 10_080);
    let ramp_limit = whole(form, "ramp_limit", 1, 100);
    let dear_hour_min = whole(form, "dear_hour_min", 0, 600);
    let flask_clearance_mm = whole(form, "flask_clearance_mm", 0, 500);
    let wall_clearance_mm = whole(form, "wall_clearance_mm", 0, 500);
    let top_clearance_mm = whole(form, "top_clearance_mm", 0, 500);
    let furnace_name = form.needed("furnace_name", 120);
    let furnace_crucible_g = whole(form, "furnace_crucible_g", 0, 100_000);
    if !form.good() {
        return None;
    }
    Some(Settings {
        name,
        time_zone,
        currency,
        temperature_unit: temperature_unit?,
        length_unit: length_unit?,
        mass_unit: mass_unit?,
        bench_rate: bench_rate?,
        finishing_rate: finishing_rate?,
        set_up_minutes: set_up_minutes?,
        bench_minutes: bench_minutes?,
        overhead: overhead?,
        margin: margin?,
        tax_name,
        tax_rate: tax_rate?,
        tax_inclusive,
        deposit: deposit?,
        quote_valid_days: quote_valid_days?,
        metal_loss: metal_loss?,
        button_share: button_share?,
        least_fresh: least_fresh?,
        load_min: load_min?,
        pour_min: pour_min?,
        alloy_change_min: alloy_change_min?,
        max_hold_min: max_hold_min?,
        max_pour_span_min: max_pour_span_min?,
        ramp_limit: ramp_limit?,
        dear_hour_min: dear_hour_min?,
        flask_clearance_mm: flask_clearance_mm?,
        wall_clearance_mm: wall_clearance_mm?,
        top_clearance_mm: top_clearance_mm?,
        furnace_name,
        furnace_crucible_g: furnace_crucible_g?,
        version,
    })
}

/// The settings as a form shows them: shares in per cent.
pub(super) fn filled(settings: &Settings) -> Form {
    let percent = |share: Decimal| plain(share * Decimal::ONE_HUNDRED);
    Form::filled([
        ("name", settings.name.clone()),
        ("time_zone", settings.time_zone.clone()),
        ("currency", settings.currency.clone()),
        ("temperature_unit", settings.temperature_unit.clone()),
        ("length_unit", settings.length_unit.clone()),
        ("mass_unit", settings.mass_unit.clone()),
        ("bench_rate", plain(settings.bench_rate)),
        ("finishing_rate", plain(settings.finishing_rate)),
        ("set_up_minutes", settings.set_up_minutes.to_string()),
        ("bench_minutes", settings.bench_minutes.to_string()),
        ("overhead", percent(settings.overhead)),
        ("margin", percent(settings.margin)),
        ("tax_name", settings.tax_name.clone()),
        ("tax_rate", percent(settings.tax_rate)),
        ("tax_inclusive", if settings.tax_inclusive { "yes".to_owned() } else { String::new() }),
        ("deposit", percent(settings.deposit)),
        ("quote_valid_days", settings.quote_valid_days.to_string()),
        ("metal_loss", percent(settings.metal_loss)),
        ("button_share", percent(settings.button_share)),
        ("least_fresh", percent(settings.least_fresh)),
        ("load_min", settings.load_min.to_string()),
        ("pour_min", settings.pour_min.to_string()),
        ("alloy_change_min", settings.alloy_change_min.to_string()),
        ("max_hold_min", settings.max_hold_min.to_string()),
        ("max_pour_span_min", settings.max_pour_span_min.to_string()),
        ("ramp_limit", settings.ramp_limit.to_string()),
        ("dear_hour_min", settings.dear_hour_min.to_string()),
        ("flask_clearance_mm", settings.flask_clearance_mm.to_string()),
        ("wall_clearance_mm", settings.wall_clearance_mm.to_string()),
        ("top_clearance_mm", settings.top_clearance_mm.to_string()),
        ("furnace_name", settings.furnace_name.clone()),
        ("furnace_crucible_g", settings.furnace_crucible_g.to_string()),
    ])
}

fn plain(number: Decimal) -> String {
    number.normalize().to_string()
}

fn whole(form: &mut Form, name: &str, least: i64, most: i64) -> Option<i32> {
    form.whole(name, least, most).and_then(|n| i32::try_from(n).ok())
}

/// A share, typed in per cent with two decimals.
fn share(form: &mut Form, name: &str, most_percent: i64) -> Option<Decimal> {
    let percent = form.decimal(name, Decimal::ZERO, Decimal::from(most_percent), 2)?;
    Some(percent / Decimal::ONE_HUNDRED)
}

/// A share that cannot be all.
fn below_all(form: &mut Form, name: &str) -> Option<Decimal> {
    let percent = form.decimal(name, Decimal::ZERO, Decimal::new(99_99, 2), 2)?;
    Some(percent / Decimal::ONE_HUNDRED)
}

fn one_of(form: &mut Form, name: &str, words: &[&str]) -> Option<String> {
    let typed = form.value(name).to_owned();
    if words.contains(&typed.as_str()) {
        return Some(typed);
    }
    form.wrong(name, "Choose one of these.");
    None
}

/// Stretches of work for each day from Monday, in minutes of the day.
pub type WeekHours = [Vec<(i16, i16)>; 7];

/// The name of a field of the hours: `from` or `to`, the day from 1, the stretch from 1.
fn hours_field(edge: &str, day: usize, stretch: usize) -> String {
    format!("{edge}_{}_{}", day + 1, stretch + 1)
}

/// Each day's name with the fields of its stretches, as a form shows them.
#[must_use]
pub fn hours_fields(form: &Form) -> Vec<(&'static str, Vec<Html>)> {
    WEEKDAYS
        .iter()
        .enumerate()
        .map(|(day, name)| {
            let mut fields = Vec::new();
            for stretch in 0..STRETCHES {
                for (edge, label) in [("from", ["From", "and from"]), ("to", ["to", "to"])] {
                    let field = hours_field(edge, day, stretch);
                    fields.push(form.input(&field, label[stretch]).kind("time").html());
                }
            }
            (*name, fields)
        })
        .collect()
}

/// A form filled in with the hours of a week.
#[must_use]
pub fn hours_filled(hours: &[Stretches; 7]) -> Form {
    let mut form = Form::default();
    for (day, stretches) in hours.iter().enumerate() {
        for (stretch, (from, to)) in stretches.iter().enumerate() {
            form.put(&hours_field("from", day, stretch), &shown_time(*from));
            form.put(&hours_field("to", day, stretch), &shown_time(*to));
        }
    }
    form
}

/// Reads the working hours; `None` after noting at each field what is wrong with it.
pub fn read_hours(form: &mut Form) -> Option<WeekHours> {
    let mut week = WeekHours::default();
    for (day, stretches) in week.iter_mut().enumerate() {
        for stretch in 0..STRETCHES {
            let (from_field, to_field) =
                (hours_field("from", day, stretch), hours_field("to", day, stretch));
            let from = time_of_day(form, &from_field);
            let to = time_of_day(form, &to_field);
            match (from, to) {
                (None, None) => {}
                (Some(_), None) => form.wrong(&to_field, "Until when? Leave both empty if closed."),
                (None, Some(_)) => {
                    form.wrong(&from_field, "From when? Leave both empty if closed.");
                }
                (Some(from), Some(to)) => {
                    // Midnight ends a day; nothing else can be meant by it here.
                    let to = if to == 0 { 24 * 60 } else { to };
                    if from < to {
                        stretches.push((from, to));
                    } else {
                        form.wrong(&to_field, "This must be later than the beginning.");
                    }
                }
            }
        }
        stretches.sort_unstable();
        if stretches.windows(2).any(|pair| matches!(pair, [one, next] if next.0 < one.1)) {
            let field = hours_field("from", day, 1);
            form.wrong(&field, format!("The two stretches of {} overlap.", WEEKDAYS[day]));
        }
    }
    form.good().then_some(week)
}

/// A time of day in minutes; `None` when empty or, after a note, when it is none.
fn time_of_day(form: &mut Form, name: &str) -> Option<i16> {
    let typed = form.value(name).trim().to_owned();
    if typed.is_empty() {
        return None;
    }
    let parsed = typed.split_once(':').and_then(|(hours, minutes)| {
        // Browsers may add seconds.
        let minutes = minutes.split(':').next().unwrap_or_default();
        Some((hours.parse::<i16>().ok()?, minutes.parse::<i16>().ok()?))
    });
    match parsed {
        Some((24, 0)) => Some(0),
        Some((hours @ 0..=23, minutes @ 0..=59)) => Some(hours * 60 + minutes),
        _ => {
            form.wrong(name, format!("“{typed}” is not a time of day; write it like 08:30."));
            None
        }
    }
}

/// Minutes of the day as a form shows them; the day's end is midnight.
pub fn shown_time(minutes: i32) -> String {
    format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60)
}

/// A day on which the studio is closed, as typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ClosedDay {
    pub(super) day: Day,
    pub(super) reason: String,
}

impl ClosedDay {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form, today: Day) -> Option<Self> {
        let day = form.day("closed_on");
        let reason = form.line("reason", 200);
        if day.is_some_and(|day| day < today) {
            form.wrong("closed_on", "This day has passed.");
        }
        if !form.good() {
            return None;
        }
        Some(Self { day: day?, reason })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_with_a_break_is_read_and_midnight_ends_it() {
        let mut form = Form::parse(b"from_1_1=08:00&to_1_1=12:00&from_1_2=13%3A00&to_1_2=00%3A00");
        let week = read_hours(&mut form).unwrap_or_default();
        assert_eq!(week[0], [(480, 720), (780, 1440)]);
        assert!(week[1..].iter().all(Vec::is_empty));
    }

    #[test]
    fn overlap_and_half_stretches_are_refused_at_their_fields() {
        let mut form = Form::parse(
            b"from_2_1=08:00&to_2_1=12:00&from_2_2=11:59&to_2_2=15:00&from_3_1=9:00&to_4_1=25:00",
        );
        assert_eq!(read_hours(&mut form), None);
        assert!(form.error("from_2_2").is_some_and(|text| text.contains("overlap")));
        assert!(form.error("to_3_1").is_some());
        assert!(form.error("to_4_1").is_some_and(|text| text.contains("not a time of day")));
    }
}
