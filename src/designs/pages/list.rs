//! All designs, newest first, with their pictures.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::designs::view::{self, ListRow};
use crate::designs::{Design, Designs, NewDesign};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Page, PageLinks};

const SIZE: u32 = 36;

#[derive(Template, WebTemplate)]
#[template(path = "designs/list.html")]
pub(crate) struct ListDesigns {
    frame: Frame,
    search: String,
    designs: Vec<ListRow>,
    links: PageLinks,
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    search: String,
    page: Option<String>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ListDesigns, Fault> {
    let page = Page::of(wanted.page.as_deref());
    let search = wanted.search.trim().replace('\0', "");
    let (designs, rows) =
        view::list(&app.pool, &search, i64::from(SIZE), page.offset(SIZE)).await?;
    let base = PageLinks::base(&Designs.to_string(), &[("search", &search)]);
    let links = PageLinks::new(page, SIZE, rows, &base);
    Ok(ListDesigns { frame: signed.frame, search, designs, links })
}
