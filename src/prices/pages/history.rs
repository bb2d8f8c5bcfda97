//! All prices of one thing.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query, State};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::people::Owner;
use crate::prices::view::{self, Noted};
use crate::prices::{Price, PriceKind, Prices};
use crate::web::{App, Fault, Frame, Html, PageLinks, Turned};

const SIZE: u32 = 50;

#[derive(Template, WebTemplate)]
#[template(path = "prices/history.html")]
pub(crate) struct History {
    frame: Frame,
    kind: PriceKind,
    item: String,
    name: String,
    noted: Vec<Noted>,
    links: PageLinks,
}

impl History {
    fn is_rate(&self) -> bool {
        self.kind == PriceKind::Exchange
    }

    fn figure(&self, noted: &Noted, amount: &Decimal) -> Html {
        let show = &self.frame.show;
        if self.is_rate() {
            view::rate_figure(show, &noted.currency, &self.item, amount)
        } else {
            show.price(amount, &noted.unit)
        }
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(flatten)]
    turned: Turned,
}

pub(crate) async fn show(
    app: State<App>,
    owner: Owner,
    Path(kind): Path<String>,
    wanted: Query<Wanted>,
) -> Result<History, Fault> {
    show_item(app, owner, Path((kind, String::new())), wanted).await
}

pub(crate) async fn show_item(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((kind, item)): Path<(String, String)>,
    Query(wanted): Query<Wanted>,
) -> Result<History, Fault> {
    let kind: PriceKind = kind.parse().map_err(|()| Fault::NotFound)?;
    let (name, page) = view::history(&app.pool, kind, &item, &wanted.turned, SIZE).await?;
    let base = Price(kind, &item).to_string();
    let links = page.links(&base);
    Ok(History { frame: signed.frame, kind, item, name, noted: page.rows, links })
}
