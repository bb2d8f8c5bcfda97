//! A new client.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clients::forms::ClientForm;
use crate::clients::{Client, Clients, actions};
use crate::db::once::{self, Begun};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "clients/new.html")]
pub(crate) struct NewClientPage {
    frame: Frame,
    form: Form,
}

pub(crate) async fn show(signed: Signed) -> NewClientPage {
    NewClientPage { frame: signed.frame, form: Form::default() }
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(client) = ClientForm::read(&mut form) else {
        let page = NewClientPage { frame: signed.frame, form };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let id = actions::add(&mut work.tx, &signed, &client).await?;
    let place = Client(id).to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}
