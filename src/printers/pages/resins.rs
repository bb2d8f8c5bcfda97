//! All resins, and the form for a new one.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::people::{Owner, Signed};
use crate::printers::forms::ResinForm;
use crate::printers::view::{self, ResinRow};
use crate::printers::{Resin, Resins, actions};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "printers/resins.html")]
pub(crate) struct ListResins {
    frame: Frame,
    resins: Vec<ResinRow>,
    form: Form,
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<ListResins, Fault> {
    let resins = view::resins(&app.pool).await?;
    Ok(ListResins { frame: signed.frame.clone(), resins, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<ListResins, Fault> {
    page(&app, &signed, usual()).await
}

pub(crate) async fn add(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(resin) = ResinForm::read(&mut form) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let id = actions::add_resin(conn, &signed, &resin)
                .await
                .map_err(|fault| fault.at("name"))?;
            Ok(Resin(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}

fn usual() -> Form {
    Form::filled([("shrinkage", "0".to_owned())])
}
