//! All flasks: those under way, or those of old.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};

use crate::flasks::view::{self, ListRow, WaitingAlloy};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Listed, PageLinks};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "flasks/list.html")]
pub(crate) struct ListFlasks {
    frame: Frame,
    open: bool,
    search: String,
    waiting: Vec<WaitingAlloy>,
    flasks: Vec<ListRow>,
    links: PageLinks,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Listed>,
) -> Result<ListFlasks, Fault> {
    let open = wanted.open();
    let search = wanted.search().to_owned();
    let page = view::list(&app.pool, open, &search, wanted.turned(), SIZE).await?;
    let waiting = view::waiting_alloys(&app.pool).await?;
    let links = page.links(&wanted.base("/flasks"));
    Ok(ListFlasks { frame: signed.frame, open, search, waiting, flasks: page.rows, links })
}
