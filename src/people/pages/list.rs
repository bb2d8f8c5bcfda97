//! Who may sign in: the owner adds and removes people.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::audit;
use crate::id::PersonId;
use crate::people::store::{self, PersonRow, Role};
use crate::people::{Owner, Signed, hash_password};
use crate::studio::{Absence, Presence};
use crate::web::{App, Fault, Form, Frame, Refused, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "people/list.html")]
pub(crate) struct People {
    frame: Frame,
    me: PersonId,
    people: Vec<PersonRow>,
    /// When they are there.
    presence: Vec<Presence>,
    form: Form,
}

impl People {
    async fn new(app: &App, signed: Signed, form: Form) -> Result<Self, Fault> {
        let today = signed.now.day_in(&signed.frame.show.zone);
        Ok(Self {
            me: signed.person,
            people: store::list(&app.pool).await?,
            presence: Presence::list(&app.pool, today).await?,
            form,
            frame: signed.frame,
        })
    }

    /// What keeps somebody away today.
    fn absence(&self, person: &PersonId) -> Option<&Absence> {
        let today = self.frame.show.now.day_in(&self.frame.show.zone);
        self.presence.iter().find(|one| one.id == *person)?.absent(today)
    }
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<Response, Fault> {
    Ok(People::new(&app, signed, Form::default()).await?.into_response())
}

pub(crate) async fn add(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let name = form.needed("name", 200);
    let login = form.line("login", 80).to_lowercase();
    if login.chars().count() < 2 {
        form.wrong("login", "At least two characters are needed.");
    }
    let role = if form.value("role") == "owner" { Role::Owner } else { Role::Maker };
    let hash = hash_password(form.value("password").to_owned()).await;
    if let Err(refusal) = &hash {
        form.wrong("password", refusal.to_string());
    }
    if let (Ok(hash), true) = (hash, form.good()) {
        let mut tx = app.pool.begin().await?;
        match store::add(&mut *tx, &name, &login, role, &hash, signed.now).await {
            Ok(id) => {
                let subject = format!("person:{id}");
                audit::note(
                    &mut tx,
                    signed.now,
                    Some(signed.person),
                    "added",
                    &subject,
                    serde_json::json!({ "name": name }),
                )
                .await?;
                tx.commit().await?;
                return Ok(see_other("/people"));
            }
            Err(error) => match Fault::from(error) {
                Fault::Refused(refused) => form.refuse(&refused.at("login")),
                fault => return Err(fault),
            },
        }
    }
    let page = People::new(&app, signed, form).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

pub(crate) async fn leave(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PersonId>,
) -> Result<Response, Fault> {
    if id == signed.person {
        return Err(Refused::conflict("You cannot end your own access; another owner can.").into());
    }
    let mut tx = app.pool.begin().await?;
    if store::leave(&mut tx, id, signed.now).await? == 1 {
        store::close_sessions_of(&mut tx, id).await?;
        audit::note(
            &mut tx,
            signed.now,
            Some(signed.person),
            "left",
            &format!("person:{id}"),
            serde_json::json!({}),
        )
        .await?;
    }
    tx.commit().await?;
    Ok(see_other("/people"))
}
