//! Who is there in the next days, and who is ill or away.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clock::Day;
use crate::id::{AbsenceId, PersonId};
use crate::people::Signed;
use crate::presence::actions;
use crate::presence::forms::{AwayForm, back};
use crate::settings::shown_time;
use crate::studio::{Presence, Week};
use crate::web::{App, Fault, Form, Frame};

/// So many days are shown.
const DAYS: i32 = 14;

/// A day, in words: one cell for each person, and when the studio is staffed.
struct DayRow {
    day: Day,
    people: Vec<String>,
    staffed: String,
}

#[derive(Template, WebTemplate)]
#[template(path = "presence/show.html")]
pub(crate) struct ShowPresence {
    frame: Frame,
    people: Vec<Presence>,
    days: Vec<DayRow>,
    /// A form that was not right, with whose it was.
    wrong: Option<(PersonId, Form)>,
}

impl ShowPresence {
    fn form(&self, person: &PersonId) -> Form {
        match &self.wrong {
            Some((whose, form)) if whose == person => form.clone(),
            _ => Form::default(),
        }
    }

    fn is_wrong(&self, person: &PersonId) -> bool {
        self.wrong.as_ref().is_some_and(|(whose, _)| whose == person)
    }

    fn error(&self) -> Option<&str> {
        self.wrong.as_ref().and_then(|(_, form)| form.general_error())
    }
}

/// Hours in words: `08:00–12:00, 13:00–18:00`.
fn words(hours: &[(i32, i32)]) -> String {
    let stretch = |(from, to): &(i32, i32)| format!("{}–{}", shown_time(*from), shown_time(*to));
    hours.iter().map(stretch).collect::<Vec<_>>().join(", ")
}

async fn page(
    app: &App,
    signed: &Signed,
    wrong: Option<(PersonId, Form)>,
) -> Result<ShowPresence, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let people = Presence::list(&app.pool, today).await?;
    let studio = Week::of_studio(&app.pool, today).await?;
    let week = Week::load(&app.pool, today).await?;
    let days = (0..DAYS)
        .map(|n| today.plus_days(n))
        .map(|day| {
            let closed = week.closed.iter().find(|(closed, _)| *closed == day);
            DayRow {
                day,
                people: people
                    .iter()
                    .map(|person| match (person.absent(day), closed) {
                        (Some(absence), _) => absence.kind.word().to_owned(),
                        (None, Some(_)) => String::new(),
                        (None, None) => words(person.on(&studio.hours, day)),
                    })
                    .collect(),
                staffed: match closed {
                    Some((_, reason)) if reason.is_empty() => "closed".to_owned(),
                    Some((_, reason)) => format!("closed: {reason}"),
                    None if week.on(day).is_empty() => "nobody".to_owned(),
                    None => words(week.on(day)),
                },
            }
        })
        .collect();
    Ok(ShowPresence { frame: signed.frame.clone(), people, days, wrong })
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<ShowPresence, Fault> {
    page(&app, &signed, None).await
}

/// Somebody is ill or away: anybody who is signed in may say so.
pub(crate) async fn away(
    State(app): State<App>,
    signed: Signed,
    Path(person): Path<PersonId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let Some(read) = AwayForm::read(&mut form, today) else {
        let page = page(&app, &signed, Some((person, form))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let place = back(&form);
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::away(conn, &signed, person, read).await?;
            Ok(place)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some((person, form)))).await
}

/// Somebody is there again, from today on.
pub(crate) async fn end(
    State(app): State<App>,
    signed: Signed,
    Path(absence): Path<AbsenceId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let place = back(&form);
    form.act_once(&app.pool, signed.now, async |conn| {
        actions::end(conn, &signed, absence, today).await?;
        Ok(place)
    })
    .await?
    .led()
}
