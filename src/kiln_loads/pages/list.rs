//! All loads: those planned and under way, or those of old.

use std::collections::HashMap;

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};

use crate::kiln_loads::view::{self, ListRow};
use crate::kiln_loads::{Ends, ends_of};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Listed, PageLinks};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "kiln_loads/list.html")]
pub(crate) struct ListLoads {
    frame: Frame,
    open: bool,
    search: String,
    loads: Vec<ListRow>,
    /// When those that are not held yet are to be.
    ends: HashMap<i32, Ends>,
    links: PageLinks,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Listed>,
) -> Result<ListLoads, Fault> {
    let open = wanted.open();
    let search = wanted.search().to_owned();
    let page = view::list(&app.pool, open, &search, wanted.turned(), SIZE).await?;
    let numbers: Vec<i32> = page.rows.iter().map(|load| load.number).collect();
    let ends = ends_of(&app.pool, &numbers).await?;
    let links = page.links(&wanted.base("/loads"));
    Ok(ListLoads { frame: signed.frame, open, search, loads: page.rows, ends, links })
}
