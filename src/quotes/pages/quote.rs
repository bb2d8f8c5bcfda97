//! One quote as it is kept: what the client reads, and what only the owner sees.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::{Owner, Signed};
use crate::promises::{self, Asked};
use crate::quotes::changes::{self, Change};
use crate::quotes::content::Content;
use crate::quotes::view::{self, QuoteRow};
use crate::quotes::{PriceOrder, Quotes, actions};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "quotes/quote.html")]
pub(crate) struct QuotePage {
    frame: Frame,
    order: OrderRow,
    quote: QuoteRow,
    content: Content,
    changes: Vec<Change>,
    before: Option<i32>,
    form: Form,
}

async fn page(
    app: &App,
    signed: &Signed,
    number: i32,
    n: i32,
    form: Option<Form>,
) -> Result<QuotePage, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let quote = view::quote(&app.pool, order.id, n).await?;
    let content = quote.content.0.clone();
    let before = view::before(&app.pool, order.id, n).await?;
    let changes = before
        .as_ref()
        .map(|before| changes::for_owner(&before.content.0, &content))
        .unwrap_or_default();
    let before = before.map(|before| before.n);
    let form = form.unwrap_or_else(|| Form::filled([("message", quote.message.clone())]));
    Ok(QuotePage { frame: signed.frame.clone(), order, quote, content, changes, before, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((number, n)): Path<(i32, i32)>,
) -> Result<QuotePage, Fault> {
    page(&app, &signed, number, n, None).await
}

pub(crate) async fn send(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((number, n)): Path<(i32, i32)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let message = form.text("message", 4000);
    if !form.good() {
        let page = page(&app, &signed, number, n, Some(form)).await?;
        return Ok((axum::http::StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    // Reckoned before anything is held: it takes a moment.
    let order = orders::load(&app.pool, number).await?;
    let quote = view::quote(&app.pool, order.id, n).await?;
    let outlook = match quote.ready_by {
        Some(_) => {
            let spares = quote.content.0.inputs.spares;
            let asked = Asked { day: quote.ready_by, spares, hurried: false };
            Some(promises::reckon(&app.pool, order.id, signed.now, asked).await?)
        }
        None => None,
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::send(conn, &signed, number, n, &message, outlook.as_ref()).await?;
            Ok(Quotes(number))
        })
        .await?;
    ended.or_show(page(&app, &signed, number, n, Some(form))).await
}
