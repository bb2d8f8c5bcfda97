//! All clients, by name.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::clients::view::{self, ListRow};
use crate::clients::{Client, Clients, NewClient};
use crate::people::Signed;
use crate::web::{App, Fault, Frame, PageLinks, Turned};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "clients/list.html")]
pub(crate) struct ListClients {
    frame: Frame,
    search: String,
    clients: Vec<ListRow>,
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
) -> Result<ListClients, Fault> {
    let search = wanted.search.trim().to_owned();
    let page = view::list(&app.pool, &search, &wanted.turned, SIZE).await?;
    let base = PageLinks::base(&Clients.to_string(), &[("search", &search)]);
    Ok(ListClients { frame: signed.frame, search, links: page.links(&base), clients: page.rows })
}
