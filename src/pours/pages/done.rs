//! What was poured.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::people::Signed;
use crate::pours::view::{self, DoneRow};
use crate::web::{App, Fault, Frame, PageLinks, Turned};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "pours/done.html")]
pub(crate) struct Done {
    frame: Frame,
    pours: Vec<DoneRow>,
    links: PageLinks,
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Done, Fault> {
    let page = view::done(&app.pool, &wanted.turned, SIZE).await?;
    let links = page.links("/pours/done");
    Ok(Done { frame: signed.frame, pours: page.rows, links })
}
