//! All designs, newest first, with their pictures.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::designs::view::{self, ListRow};
use crate::designs::{Design, Designs, NewDesign};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, PageLinks, Turned};

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
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<ListDesigns, Fault> {
    let search = wanted.search.trim().replace('\0', "");
    let page = view::list(&app.pool, &search, &wanted.turned, SIZE).await?;
    let base = PageLinks::base(&Designs.to_string(), &[("search", &search)]);
    let links = page.links(&base);
    Ok(ListDesigns { frame: signed.frame, search, designs: page.rows, links })
}
