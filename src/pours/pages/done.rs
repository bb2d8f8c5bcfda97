//! What was poured.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::people::Signed;
use crate::pours::view::{self, DoneRow};
use crate::web::{App, Fault, Frame, Page, PageLinks};

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
    page: Option<String>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<Done, Fault> {
    let page = Page::of(wanted.page.as_deref());
    let (pours, rows) = view::done(&app.pool, i64::from(SIZE), page.offset(SIZE)).await?;
    Ok(Done { frame: signed.frame, pours, links: PageLinks::new(page, SIZE, rows, "/pours/done") })
}
