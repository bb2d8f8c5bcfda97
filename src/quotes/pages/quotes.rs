//! The quotes of an order, version by version, and the client's private link.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, header};
use axum::response::Response;

use crate::db::once::{self, Begun};
use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::Owner;
use crate::quotes::link::{LinkRow, path_of};
use crate::quotes::paths::{Actual, Quote};
use crate::quotes::view::{self, ListRow};
use crate::quotes::{PriceOrder, Quotes, actions};
use crate::web::{App, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "quotes/list.html")]
pub(crate) struct QuotesPage {
    frame: Frame,
    order: OrderRow,
    quotes: Vec<ListRow>,
    link: Option<(LinkRow, String)>,
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
    Ok(QuotesPage { frame: signed.frame, order, quotes, link })
}

pub(crate) async fn new_link(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    actions::new_link(&mut work.tx, &signed, number).await?;
    let place = Quotes(number).to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}

pub(crate) async fn revoke_link(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    actions::revoke_link(&mut work.tx, &signed, number).await?;
    let place = Quotes(number).to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}
