//! All loads: those planned and under way, or those of old.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::kiln_loads::view::{self, ListRow};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Page, PageLinks};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "kiln_loads/list.html")]
pub(crate) struct ListLoads {
    frame: Frame,
    open: bool,
    search: String,
    loads: Vec<ListRow>,
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
) -> Result<ListLoads, Fault> {
    let page = Page::of(wanted.page.as_deref());
    let open = wanted.show != "old";
    let search = wanted.search.trim().to_owned();
    let (loads, rows) =
        view::list(&app.pool, open, &search, i64::from(SIZE), page.offset(SIZE)).await?;
    let base = PageLinks::base("/loads", &[("search", &search), ("show", &wanted.show)]);
    let links = PageLinks::new(page, SIZE, rows, &base);
    Ok(ListLoads { frame: signed.frame, open, search, loads, links })
}
