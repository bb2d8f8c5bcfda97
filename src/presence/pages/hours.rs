//! The hours of one person.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::id::PersonId;
use crate::people::{Owner, Signed};
use crate::presence::actions;
use crate::settings::{WeekHours, hours_fields, hours_filled, read_hours};
use crate::studio::{Presence, Week};
use crate::web::{App, Fault, Form, Frame, Html};

const PLACE: &str = "/presence";

#[derive(Template, WebTemplate)]
#[template(path = "presence/hours.html")]
pub(crate) struct PersonHours {
    frame: Frame,
    person: Presence,
    form: Form,
}

impl PersonHours {
    fn days(&self) -> Vec<(&'static str, Vec<Html>)> {
        hours_fields(&self.form)
    }
}

async fn page(
    app: &App,
    signed: &Signed,
    id: PersonId,
    form: Option<Form>,
) -> Result<PersonHours, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let people = Presence::list(&app.pool, today).await?;
    let person = people.into_iter().find(|person| person.id == id).ok_or(Fault::NotFound)?;
    let form = match form {
        Some(form) => form,
        None => {
            let studio = Week::of_studio(&app.pool, today).await?;
            let mut form = hours_filled(person.hours.as_ref().unwrap_or(&studio.hours));
            if person.pours {
                form.put("pours", "yes");
            }
            form
        }
    };
    Ok(PersonHours { frame: signed.frame.clone(), person, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PersonId>,
) -> Result<PersonHours, Fault> {
    page(&app, &signed, id, None).await
}

async fn set(
    app: &App,
    signed: &Signed,
    id: PersonId,
    mut form: Form,
    hours: Option<WeekHours>,
) -> Result<Response, Fault> {
    let (seen, pours) = (form.version(), form.ticked("pours"));
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::set_hours(conn, signed, id, hours.as_ref(), pours, seen).await?;
            Ok(PLACE)
        })
        .await?;
    ended.or_show(page(app, signed, id, Some(form))).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PersonId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let hours = read_hours(&mut form);
    if hours.iter().flatten().all(Vec::is_empty) && form.good() {
        form.wrong("", "A week needs hours on one day at least. Somebody who only works elsewhere does not load or pour: take that tick away instead.");
    }
    let Some(hours) = hours.filter(|_| form.good()) else {
        let page = page(&app, &signed, id, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    set(&app, &signed, id, form, Some(hours)).await
}

/// Back to the studio's hours.
pub(crate) async fn keep_studio(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PersonId>,
    form: Form,
) -> Result<Response, Fault> {
    set(&app, &signed, id, form, None).await
}
