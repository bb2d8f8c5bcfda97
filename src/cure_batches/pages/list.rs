//! All cure batches: those under way, or those that ended.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};

use crate::cure_batches::view::{self, ListRow};
use crate::cure_batches::{CureBatch, CureBatches, NewCureBatch};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Listed, PageLinks};

const SIZE: u32 = 40;

#[derive(Template, WebTemplate)]
#[template(path = "cure_batches/list.html")]
pub(crate) struct ListCureBatches {
    frame: Frame,
    ended: bool,
    waiting: i64,
    batches: Vec<ListRow>,
    links: PageLinks,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Listed>,
) -> Result<ListCureBatches, Fault> {
    let ended = !wanted.open();
    let page = view::list(&app.pool, !ended, wanted.turned(), SIZE).await?;
    let waiting = view::count_waiting(&app.pool).await?;
    let links = page.links(&wanted.base(&CureBatches.to_string()));
    Ok(ListCureBatches { frame: signed.frame, ended, waiting, batches: page.rows, links })
}
