//! The quotes of an order, version by version, and the client's private link.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, header};
use axum::response::Response;

use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::Owner;
use crate::quotes::link::{LinkRow, path_of};
use crate::quotes::paths::{Actual, Quote};
use crate::quotes::view::{self, ListRow};
use crate::quotes::{PriceOrder, Quotes, actions};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "quotes/list.html")]
pub(crate) struct QuotesPage {
    frame: Frame,
    order: OrderRow,
    quotes: Vec<ListRow>,
    link: Option<(LinkRow, String)>,
    /// The client's e-mail address.
    email: String,
}

impl QuotesPage {
    /// Whether a quote waits for an answer on a page that the client has not opened.
    fn to_pass_on(&self) -> bool {
        self.quotes.iter().any(|quote| quote.state == "sent")
            && self.link.as_ref().is_some_and(|(link, _)| link.opened_at.is_none())
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    headers: HeaderMap,
) -> Result<QuotesPage, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    let scheme = if app.secure_cookies { "https" } else { "http" };
    let link = view::link(&app.pool, order.id, signed.now).await?;
    let link = link.and_then(|link| {
        let path = path_of(&app.link_secret, link.id)?;
        Some((link, format!("{scheme}://{host}{path}")))
    });
    let quotes = view::list(&app.pool, order.id).await?;
    let email = view::email_of(&app.pool, order.client_id).await?;
    Ok(QuotesPage { frame: signed.frame, order, quotes, link, email })
}

pub(crate) async fn new_link(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        actions::new_link(conn, &signed, number).await?;
        Ok(Quotes(number))
    })
    .await?
    .led()
}

pub(crate) async fn revoke_link(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        actions::revoke_link(conn, &signed, number).await?;
        Ok(Quotes(number))
    })
    .await?
    .led()
}
