//! All letters: what waits for somebody first, then what waits for a server, then what is sent.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, header};
use axum::response::Response;
use serde::Deserialize;

use crate::letters::Letters;
use crate::letters::actions::{self, About, Site};
use crate::letters::kinds::Kind;
use crate::letters::paths::{Letter, PostOffice, Templates};
use crate::letters::store;
use crate::letters::view::{self, ListRow};
use crate::people::Owner;
use crate::web::{App, Fault, Form, Frame, PageLinks, Refused, Turned};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "letters/list.html")]
pub(crate) struct ListLetters {
    frame: Frame,
    letters: Vec<ListRow>,
    open: bool,
    troubled: i64,
    links: PageLinks,
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Query(wanted): Query<Wanted>,
) -> Result<ListLetters, Fault> {
    let page = view::list(&app.pool, &wanted.turned, SIZE).await?;
    Ok(ListLetters {
        frame: signed.frame,
        links: page.links(&Letters.to_string()),
        letters: page.rows,
        open: store::post_office(&app.pool).await?.is_open(),
        troubled: view::troubled(&app.pool).await?,
    })
}

/// Begins a letter of a kind, about an order or an invoice.
pub(crate) async fn write(
    State(app): State<App>,
    Owner(signed): Owner,
    headers: HeaderMap,
    mut form: Form,
) -> Result<Response, Fault> {
    let unclear = || Refused::conflict("A letter is begun from an order, a quote or an invoice.");
    let kind = Kind::named(form.value("kind")).ok_or_else(unclear)?;
    let about = match (form.value("order").parse(), form.value("invoice").parse()) {
        (Ok(number), _) => About::Order(number),
        (_, Ok(invoice)) => About::Invoice(invoice),
        _ => return Err(unclear().into()),
    };
    let site = site(&app, &headers);
    form.act_once(&app.pool, signed.now, async |conn| {
        let id = actions::write(conn, &signed, kind, about, &site).await?;
        Ok(Letter(id))
    })
    .await?
    .led()
}

/// Where the client's page is reached, by the address that was asked for.
pub(super) fn site<'a>(app: &'a App, headers: &HeaderMap) -> Site<'a> {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    let scheme = if app.secure_cookies { "https" } else { "http" };
    Site { base: format!("{scheme}://{host}"), secret: &app.link_secret }
}
