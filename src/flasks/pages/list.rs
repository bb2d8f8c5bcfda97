//! All flasks: those under way, or those of old.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::flasks::view::{self, ListRow, WaitingAlloy};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Page, PageLinks};

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

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    search: String,
    #[serde(default)]
    show: String,
    page: Option<String>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ListFlasks, Fault> {
    let page = Page::of(wanted.page.as_deref());
    let open = wanted.show != "old";
    let search = wanted.search.trim().to_owned();
    let (flasks, rows) =
        view::list(&app.pool, open, &search, i64::from(SIZE), page.offset(SIZE)).await?;
    let waiting = view::waiting_alloys(&app.pool).await?;
    let base = PageLinks::base("/flasks", &[("search", &search), ("show", &wanted.show)]);
    let links = PageLinks::new(page, SIZE, rows, &base);
    Ok(ListFlasks { frame: signed.frame, open, search, waiting, flasks, links })
}
