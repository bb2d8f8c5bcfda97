//! New designs: one for each file dropped here.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Multipart, State};
use axum::response::{IntoResponse, Response};

use crate::clients;
use crate::designs::intake::{Intake, refused_files};
use crate::designs::{Design, Designs, NewDesign, actions, forms};
use crate::id::ClientId;
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "designs/new.html")]
pub(crate) struct NewDesignPage {
    frame: Frame,
    form: Form,
    clients: Vec<(String, String)>,
    kept: Vec<(String, String)>,
    megabytes: usize,
}

async fn page(app: &App, signed: Signed, intake: Intake) -> Result<NewDesignPage, Fault> {
    let kept = intake.taken.iter().map(|file| (file.name().to_owned(), file.kept())).collect();
    Ok(NewDesignPage {
        frame: signed.frame,
        form: intake.form,
        clients: with_nobody(clients::choices(&app.pool).await?),
        kept,
        megabytes: app.largest_model >> 20,
    })
}

/// The clients to choose from, and nobody before them.
pub(super) fn with_nobody(clients: Vec<(ClientId, String)>) -> Vec<(String, String)> {
    let mut choices = vec![(String::new(), "Nobody in particular".to_owned())];
    choices.extend(clients.into_iter().map(|(id, name)| (id.to_string(), name)));
    choices
}

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<NewDesignPage, Fault> {
    page(&app, signed, Intake::default()).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    parts: Multipart,
) -> Result<Response, Fault> {
    let mut intake = Intake::receive(&app, signed.now, parts).await?;
    let client = forms::client(&mut intake.form);
    let kept = intake.taken.len();
    if intake.note_refusals("models") {
        intake.form.wrong("", refused_files(kept));
    } else if intake.taken.is_empty() {
        intake.form.wrong("models", "Choose at least one model: STL, OBJ, 3MF or PLY.");
    }
    if !intake.form.good() {
        let status = intake.status();
        return Ok((status, page(&app, signed, intake).await?).into_response());
    }
    intake
        .form
        .act_once(&app.pool, signed.now, async |conn| {
            let mut last = None;
            for taken in &intake.taken {
                last = Some(actions::add_from_file(conn, &signed, taken, client, None).await?.0);
            }
            Ok(match last {
                Some(number) if kept == 1 => Design(number).to_string(),
                _ => Designs.to_string(),
            })
        })
        .await?
        .led()
}
