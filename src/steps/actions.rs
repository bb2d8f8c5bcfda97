//! Recording a step, inside the caller's transaction.

use serde_json::{Map, Value, json};
use sqlx::PgConnection;
use uuid::Uuid;

use super::clocks;
use super::sheets::Step;
use super::store::{self, Firing, Subject};
use crate::clock::Moment;
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// Records a step with what was told.
pub(super) async fn record(
    conn: &mut PgConnection,
    signed: &Signed,
    subject: &Subject,
    step: &Step,
    mut told: Map<String, Value>,
) -> Result<(), Fault> {
    possible(conn, subject, step).await?;
    if !step.again
        && let Some(record) = store::last_record(conn, subject, step).await?
    {
        return Err(Refused::conflict(format!(
            "“{}” was recorded already, at {}{}. Nothing was changed; take that back first if it was a mistake.",
            step.words,
            signed.frame.show.time(record.at),
            record.person.map(|who| format!(" by {who}")).unwrap_or_default(),
        ))
        .into());
    }
    match step.key {
        "read_back" => compare(&store::firing(conn, subject).await?, &told)?,
        "check" => {
            if let Some(asked) = asked_c(&store::firing(conn, subject).await?, signed.now) {
                told.insert("asked_c".to_owned(), json!(asked.round()));
            }
        }
        _ => {}
    }
    let counted = told.contains_key("minutes");
    let record = store::insert(conn, subject, step, told, signed.now, signed.person).await?;
    if counted && step.counts_work() {
        clocks::use_up(conn, subject, step.key, record, signed.now).await?;
    }
    Ok(())
}

/// Refuses a step at a thing that has not come so far, or was given up.
pub(super) async fn possible(
    conn: &mut PgConnection,
    subject: &Subject,
    step: &Step,
) -> Result<(), Fault> {
    let Some(why) = store::hindrance(conn, subject).await? else { return Ok(()) };
    let (kind, which) = subject.name.split_once(':').unwrap_or((&subject.name, ""));
    let mut letters = kind.chars();
    let kind: String =
        letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect();
    Err(Refused::conflict(format!(
        "{kind} {which} {why}. “{}” was not begun; nothing was changed.",
        step.words
    ))
    .into())
}

/// Takes a step back that was recorded by mistake.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    signed: &Signed,
    subject: &Subject,
    id: Uuid,
) -> Result<(), Fault> {
    if store::take_back(conn, subject, id, signed.now, signed.person).await? {
        return Ok(());
    }
    Err(taken_back_already().into())
}

/// Takes back what was recorded for many castings by one tap.
pub(super) async fn take_back_at(
    conn: &mut PgConnection,
    signed: &Signed,
    step: &Step,
    at: Moment,
) -> Result<(), Fault> {
    if store::take_back_at(conn, step, at, signed.now, signed.person).await? {
        return Ok(());
    }
    Err(taken_back_already().into())
}

fn taken_back_already() -> Refused {
    Refused::conflict("This was taken back already. This is how it stands.")
}

/// How far a controller may round what was typed into it.
const ROUNDED_C: f64 = 1.0;

/// Refuses what the controller shows where it is not the load's programme.
fn compare(firing: &Firing, told: &Map<String, Value>) -> Result<(), Refused> {
    let programme = &firing.programme.0;
    let read = |name: &str| told.get(name).and_then(Value::as_f64).unwrap_or(f64::NAN);
    let top = programme.iter().map(|segment| segment.target_c).fold(0.0, f64::max);
    let held = programme.last().map_or(0.0, |segment| segment.target_c);
    let differs = |name: &'static str, what: &str, wanted: f64, unit: &str, within: f64| {
        let got = read(name);
        if (got - wanted).abs() <= within {
            return Ok(());
        }
        Err(Refused::input(
            name,
            format!(
                "The controller shows {got}{unit} as {what}, the load's programme has {wanted}{unit}. Nothing was recorded; do not start, set the controller first."
            ),
        ))
    };
    differs("segments", "number of segments", programme.len() as f64, "", 0.0)?;
    differs("top_c", "highest temperature", top, " °C", ROUNDED_C)?;
    differs("held_c", "temperature held at the end", held, " °C", ROUNDED_C)
}

/// The temperature of a kiln before a firing.
const ROOM_C: f64 = 20.0;

/// What the programme asks at a moment: straight between the ends of its segments.
fn asked_c(firing: &Firing, now: Moment) -> Option<f64> {
    let mut since = now.seconds_since(firing.started_at?) as f64 / 60.0;
    if since < 0.0 {
        return None;
    }
    let mut at = ROOM_C;
    for segment in &firing.programme.0 {
        if since < segment.minutes {
            return Some(at + (segment.target_c - at) * since / segment.minutes);
        }
        since -= segment.minutes;
        at = segment.target_c;
    }
    Some(at)
}

#[cfg(test)]
mod tests {
    use sqlx::types::Json;

    use super::*;
    use crate::steps::store::Segment;

    fn firing(started_at: Option<Moment>) -> Firing {
        let segment = |target_c, minutes| Segment { target_c, minutes };
        let programme = vec![
            segment(150.0, 60.0),
            segment(150.0, 120.0),
            segment(730.0, 240.0),
            segment(540.0, 60.0),
        ];
        Firing { programme: Json(programme), started_at }
    }

    #[test]
    fn what_the_programme_asks_lies_on_straight_lines() {
        let start = Moment::default();
        let asked = |minutes| asked_c(&firing(Some(start)), start.plus_minutes(minutes));
        assert_eq!(asked(0), Some(20.0));
        assert_eq!(asked(30), Some(85.0), "half of the way from 20 to 150");
        assert_eq!(asked(100), Some(150.0));
        assert_eq!(asked(300), Some(440.0), "half of the way from 150 to 730");
        assert_eq!(asked(600), Some(540.0), "held");
        assert_eq!(asked(-5), None);
        assert_eq!(asked_c(&firing(None), start), None, "not started");
    }

    #[test]
    fn a_controller_that_shows_something_else_is_named() {
        let told = |segments: f64, top: f64, held: f64| {
            let told = json!({ "segments": segments, "top_c": top, "held_c": held });
            told.as_object().cloned().unwrap()
        };
        assert!(compare(&firing(None), &told(4.0, 730.0, 540.0)).is_ok());
        assert!(compare(&firing(None), &told(4.0, 731.0, 539.0)).is_ok());
        let fields = [told(3.0, 730.0, 540.0), told(4.0, 703.0, 540.0), told(4.0, 730.0, 450.0)]
            .map(|told| compare(&firing(None), &told).unwrap_err().field);
        assert_eq!(fields, [Some("segments"), Some("top_c"), Some("held_c")]);
    }
}
