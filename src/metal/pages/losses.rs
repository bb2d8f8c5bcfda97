//! What the pours lost, flask by flask and by alloy.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::metal::view::{self, LossOfAlloy, LossRow};
use crate::metal::{LossesPage, MetalPage};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, Page, PageLinks};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "metal/losses.html")]
pub(crate) struct Losses {
    frame: Frame,
    by_alloy: Vec<LossOfAlloy>,
    losses: Vec<LossRow>,
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
) -> Result<Losses, Fault> {
    let page = Page::of(wanted.page.as_deref());
    let (losses, rows) = view::losses(&app.pool, i64::from(SIZE), page.offset(SIZE)).await?;
    let by_alloy = view::losses_by_alloy(&app.pool).await?;
    let links = PageLinks::new(page, SIZE, rows, &LossesPage.to_string());
    Ok(Losses { frame: signed.frame, by_alloy, losses, links })
}
