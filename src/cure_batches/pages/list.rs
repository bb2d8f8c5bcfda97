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
    let open = wanted.open();
    let (batches, rows) = view::list(&app.pool, open, i64::from(SIZE), wanted.offset(SIZE)).await?;
    let waiting = view::count_waiting(&app.pool).await?;
    let links = wanted.links(&CureBatches.to_string(), SIZE, rows);
    Ok(ListCureBatches { frame: signed.frame, ended: !open, waiting, batches, links })
}
