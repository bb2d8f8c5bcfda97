//! Clients who have metal of their own here.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::id::ClientId;
use crate::metal::statement::{self, Holder};
use crate::metal::{MetalPage, OfClient, OwnPage};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "metal/clients.html")]
pub(crate) struct ShowHolders {
    frame: Frame,
    holders: Vec<Holder>,
    clients: Vec<(ClientId, String)>,
    form: Form,
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    client: String,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Fault> {
    if let Ok(client) = wanted.client.parse() {
        return Ok(see_other(&OfClient(client).to_string()));
    }
    let page = ShowHolders {
        frame: signed.frame,
        holders: statement::holders(&app.pool).await?,
        clients: statement::clients(&app.pool).await?,
        form: Form::default(),
    };
    Ok(page.into_response())
}
