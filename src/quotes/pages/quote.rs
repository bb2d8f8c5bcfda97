//! One quote as it is kept: what the client reads, and what only the owner sees.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use sqlx::PgConnection;

use crate::clock::Day;
use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::{Owner, Signed};
use crate::promises::{self, Asked, Outlook};
use crate::quotes::actions::Sent;
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
    /// The client's e-mail address.
    email: String,
    form: Form,
}

impl QuotePage {
    /// The two days of which one has to be chosen, with their words.
    fn days(&self) -> Vec<(String, String)> {
        let Some([due, ready]) = two_days(&self.order, &self.quote) else { return Vec::new() };
        let show = &self.frame.show;
        vec![
            (ready.to_string(), format!("{}, as this quote says", show.day(ready))),
            (due.to_string(), format!("{}, as the order says", show.day(due))),
        ]
    }
}

pub(crate) async fn page(
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
    let email = view::email_of(&app.pool, order.client_id).await?;
    let frame = signed.frame.clone();
    Ok(QuotePage { frame, order, quote, content, changes, before, email, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((number, n)): Path<(i32, i32)>,
) -> Result<QuotePage, Fault> {
    page(&app, &signed, number, n, None).await
}

/// A draft that is about to be sent: what was typed with it, and what takes a moment to reckon.
pub(crate) struct Sending {
    number: i32,
    n: i32,
    message: String,
    day: Option<Day>,
    outlook: Option<Outlook>,
}

impl Sending {
    /// Reads the form before anything is held; `None` after noting what is wrong with it.
    pub(crate) async fn read(
        app: &App,
        signed: &Signed,
        (number, n): (i32, i32),
        form: &mut Form,
    ) -> Result<Option<Self>, Fault> {
        let message = form.text("message", 4000);
        let order = orders::load(&app.pool, number).await?;
        let quote = view::quote(&app.pool, order.id, n).await?;
        let day = match two_days(&order, &quote) {
            Some(days) if quote.state == "draft" => {
                let chosen = form.value("day").parse().ok().map(Day);
                let chosen = chosen.filter(|day| days.contains(day));
                if chosen.is_none() {
                    form.wrong("day", "Choose the day that holds; the client reads one only.");
                }
                chosen
            }
            _ => quote.ready_by,
        };
        if !form.good() {
            return Ok(None);
        }
        let outlook = match day {
            Some(_) => {
                let spares = quote.content.0.inputs.spares;
                let asked = Asked { day, spares, hurried: false };
                Some(promises::reckon(&app.pool, order.id, signed.now, asked).await?)
            }
            None => None,
        };
        Ok(Some(Self { number, n, message, day, outlook }))
    }

    /// Sends it.
    pub(crate) async fn send(&self, conn: &mut PgConnection, signed: &Signed) -> Result<(), Fault> {
        let Self { number, n, message, day, outlook } = self;
        let sent = Sent { message, day: *day, outlook: outlook.as_ref() };
        actions::send(conn, signed, *number, *n, sent).await
    }
}

/// The day the order is due and the day the quote says, when they are not the same.
fn two_days(order: &OrderRow, quote: &QuoteRow) -> Option<[Day; 2]> {
    let days = [order.due_on?, quote.ready_by?];
    (days[0] != days[1]).then_some(days)
}
