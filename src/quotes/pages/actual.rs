//! What an order was quoted and what it took.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use rust_decimal::Decimal;

use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::Owner;
use crate::quotes::actual;
use crate::quotes::compare::{self, OfLine};
use crate::quotes::{Quotes, view};
use crate::studio::Settings;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "quotes/actual.html")]
pub(crate) struct ActualPage {
    frame: Frame,
    order: OrderRow,
    quote: Option<i32>,
    currency: String,
    lines: Vec<OfLine>,
}

impl ActualPage {
    fn more(&self) -> Decimal {
        self.lines.iter().map(OfLine::more).sum()
    }

    fn open(&self) -> i64 {
        self.lines.iter().map(|line| line.taken.open).sum()
    }

    fn measured(&self) -> bool {
        self.lines.iter().any(OfLine::measured)
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<ActualPage, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let settings = Settings::load(&app.pool).await?;
    let accepted =
        view::standing(&app.pool, order.id).await?.filter(|quote| quote.state == "accepted");
    let taken = actual::taken(&app.pool, order.id).await?;
    let mut lines = Vec::new();
    if let Some(quote) = &accepted {
        let content = &quote.content.0;
        for line in &content.lines {
            if let Some(taken) = taken.iter().find(|taken| taken.n == line.n) {
                lines.push(compare::compare(content, line, taken.clone()));
            }
        }
    }
    let currency = accepted.as_ref().map_or(settings.currency, |q| q.content.currency.clone());
    let quote = accepted.map(|quote| quote.n);
    Ok(ActualPage { frame: signed.frame, order, quote, currency, lines })
}
