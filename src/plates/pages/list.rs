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
    let open = wanted.open();
    let (plates, rows) = view::list(&app.pool, open, i64::from(SIZE), wanted.offset(SIZE)).await?;
    let waiting = view::count_waiting(&app.pool).await?;
    let links = wanted.links(&Plates.to_string(), SIZE, rows);
    Ok(ListPlates { frame: signed.frame, ended: !open, waiting, plates, links })
}
