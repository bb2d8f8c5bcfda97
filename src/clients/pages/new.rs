//! A new client.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::clients::forms::ClientForm;
use crate::clients::{Client, Clients, actions};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

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
    form.act_once(&app.pool, signed.now, async |conn| {
        let id = actions::add(conn, &signed, &client).await?;
        Ok(Client(id))
    })
    .await?
    .led()
}
