//! All plates: those under way, or those that ended.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};

use crate::people::Signed;
use crate::plates::view::{self, ListRow};
use crate::plates::{NewPlate, Plate, Plates, ProposePlates};
use crate::web::{App, Fault, Frame, Listed, PageLinks};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "plates/list.html")]
pub(crate) struct ListPlates {
    frame: Frame,
    ended: bool,
    waiting: i64,
    plates: Vec<ListRow>,
    links: PageLinks,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Listed>,
) -> Result<ListPlates, Fault> {
    let ended = !wanted.open();
    let page = view::list(&app.pool, !ended, wanted.turned(), SIZE).await?;
    let waiting = view::count_waiting(&app.pool).await?;
    let links = page.links(&wanted.base(&Plates.to_string()));
    Ok(ListPlates { frame: signed.frame, ended, waiting, plates: page.rows, links })
}
