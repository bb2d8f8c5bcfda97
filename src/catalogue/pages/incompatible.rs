//! Which families may not share a load.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::response::Response;
use uuid::Uuid;

use crate::catalogue::store;
use crate::people::Owner;
use crate::web::{App, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "catalogue/incompatible.html")]
pub(crate) struct Incompatible {
    frame: Frame,
    pairs: Vec<(Uuid, String, Uuid, String, bool)>,
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<Incompatible, Fault> {
    Ok(Incompatible { frame: signed.frame, pairs: store::pairs(&app.pool).await? })
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(_): Owner,
    form: Form,
) -> Result<Response, Fault> {
    let pairs: Vec<(Uuid, Uuid)> = form
        .all("pair")
        .filter_map(|pair| pair.split_once('|'))
        .filter_map(|(one, other)| Some((one.parse().ok()?, other.parse().ok()?)))
        .collect();
    let mut tx = app.pool.begin().await?;
    store::set_pairs(&mut tx, &pairs).await?;
    tx.commit().await?;
    Ok(see_other("/studio/incompatible"))
}
