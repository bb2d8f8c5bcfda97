//! A step recorded from Now or from Clocks leads back there, and is told of with a way back.

use axum::extract::Request;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use sqlx::PgPool;
use uuid::Uuid;

use super::view;
use crate::steps;
use crate::web::Fault;

/// What the forms of Now add to the address they post to.
pub(super) const BACK: &str = "back=now";

/// What those of Clocks add.
pub(super) const BACK_TO_CLOCKS: &str = "back=clocks";

/// Leads a form that came from Now or Clocks back there once it is done. A refusal is shown where
/// the thing itself is shown, with how it stands.
pub async fn lead_back(request: Request, next: Next) -> Response {
    let wanted = match request.uri().query() {
        Some(BACK) if request.method() == Method::POST => Some("/now"),
        Some(BACK_TO_CLOCKS) if request.method() == Method::POST => Some("/timers"),
        _ => None,
    };
    let path = request.uri().path().to_owned();
    let mut response = next.run(request).await;
    let leads_on = response.status() == StatusCode::SEE_OTHER;
    let signed_out = response
        .headers()
        .get(header::LOCATION)
        .is_some_and(|place| place.as_bytes().starts_with(b"/sign-in"));
    if let Some(place) = wanted
        && leads_on
        && !signed_out
        && let Ok(place) = HeaderValue::from_str(&format!("{place}?did={}", thing(&path)))
    {
        response.headers_mut().insert(header::LOCATION, place);
    }
    response
}

/// What was tapped at: a plate, batch, flask or load, or a single step.
fn thing(path: &str) -> &str {
    let is_step = path.starts_with("/steps/") && path.matches('/').count() == 4;
    if is_step { path } else { path.rsplit_once('/').map_or("", |(thing, _)| thing) }
}

/// A tap that was just recorded.
pub(super) struct Did {
    pub(super) words: String,
    /// The page of the thing.
    pub(super) place: String,
    /// What its taps post to.
    pub(super) action: String,
    pub(super) version: i64,
    /// For a step: its record.
    pub(super) record: Option<Uuid>,
    pub(super) can_be_taken_back: bool,
}

/// What was just recorded, by the address of the thing.
pub(super) async fn did(pool: &PgPool, path: &str) -> Result<Option<Did>, Fault> {
    if path.starts_with("/steps/") {
        return Ok(steps::tapped(pool, path).await?.map(|tapped| Did {
            words: tapped.words,
            place: tapped.place,
            action: path.to_owned(),
            version: 0,
            can_be_taken_back: tapped.record.is_some(),
            record: tapped.record,
        }));
    }
    let Some((room, number)) = path.trim_start_matches('/').split_once('/') else {
        return Ok(None);
    };
    let Ok(number) = number.parse::<i32>() else { return Ok(None) };
    let Some(found) = view::did(pool, room, number).await? else { return Ok(None) };
    let (thing, words) = match (room, found.state.as_str()) {
        ("plates", "printing") => ("Plate", "prints"),
        ("plates", "done") => ("Plate", "is done"),
        ("plates", _) => ("Plate", "is laid out again"),
        ("cure", "washing") => ("Cure batch", "is in the wash"),
        ("cure", "curing") => ("Cure batch", "is curing"),
        ("cure", "done") => ("Cure batch", "is cured"),
        ("cure", _) => ("Cure batch", "is to begin again"),
        ("flasks", "weighed") => ("Flask", "is to be mixed for again"),
        ("flasks", "mixing") => ("Flask", "is being mixed for"),
        ("flasks", "setting") => ("Flask", "is left to set"),
        ("loads", "planned") => ("Load", "is to start again"),
        ("loads", "burning") => ("Load", "burns out"),
        ("loads", "held") => ("Load", "is held"),
        _ => return Ok(None),
    };
    let resting = ["open", "weighed", "planned", "cancelled"];
    let place = format!("/{room}/{number}");
    Ok(Some(Did {
        words: format!("{thing} {number} {words}."),
        action: place.clone(),
        place,
        version: found.version,
        record: None,
        can_be_taken_back: !resting.contains(&found.state.as_str()),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tap_at_a_step_is_told_of_the_step_and_any_other_of_its_thing() {
        assert_eq!(thing("/plates/51/start"), "/plates/51");
        assert_eq!(thing("/steps/finish/1006-4/polished"), "/steps/finish/1006-4/polished");
        let stop = "/steps/finish/1006-4/polished/stop-clock";
        assert_eq!(thing(stop), "/steps/finish/1006-4/polished");
    }
}
