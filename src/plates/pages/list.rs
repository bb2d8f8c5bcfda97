//! All plates: those under way, or those that ended.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::people::Signed;
use crate::plates::view::{self, ListRow};
use crate::plates::{NewPlate, Plate, Plates, ProposePlates};
use crate::web::{App, Fault, Frame, Page, PageLinks};

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

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    show: String,
    page: Option<String>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ListPlates, Fault> {
    let page = Page::of(wanted.page.as_deref());
    let ended = wanted.show == "ended";
    let (plates, rows) = view::list(&app.pool, !ended, i64::from(SIZE), page.offset(SIZE)).await?;
    let waiting = view::count_waiting(&app.pool).await?;
    let show = if ended { "ended" } else { "" };
    let base = PageLinks::base(&Plates.to_string(), &[("show", show)]);
    let links = PageLinks::new(page, SIZE, rows, &base);
    Ok(ListPlates { frame: signed.frame, ended, waiting, plates, links })
}
