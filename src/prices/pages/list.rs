//! Today's prices, what is missing first, and the form to note one.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::people::{Owner, Signed};
use crate::prices::forms::PriceForm;
use crate::prices::model::{EACH, TYPED_UNITS};
use crate::prices::view::{self, Item};
use crate::prices::{Price, PriceKind, PriceRules, Prices, actions};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "prices/list.html")]
pub(crate) struct ListPrices {
    frame: Frame,
    items: Vec<Item>,
    /// A price of something that is bought.
    form: Form,
    /// A rate of exchange.
    rate: Form,
}

impl ListPrices {
    fn missing(&self) -> Vec<&Item> {
        // Gas and premiums are charged, and money changed, only where there is any.
        let needed = |item: &&Item| {
            !matches!(item.kind, PriceKind::Gas | PriceKind::Premium | PriceKind::Exchange)
        };
        self.items.iter().filter(|item| item.price.is_err()).filter(needed).collect()
    }

    /// The kinds of which anything has a price, with those.
    fn kinds(&self) -> Vec<(PriceKind, Vec<&Item>)> {
        PriceKind::ALL
            .into_iter()
            .map(|kind| {
                let priced = |item: &&Item| item.kind == kind && item.price.is_ok();
                (kind, self.items.iter().filter(priced).collect::<Vec<_>>())
            })
            .filter(|(_, items)| !items.is_empty())
            .collect()
    }

    fn choices(&self) -> Vec<(String, String)> {
        let words = |item: &Item| format!("{}, for a {}", item.name, item.kind.unit());
        let bought = self.items.iter().filter(|item| item.kind != PriceKind::Exchange);
        bought.map(|item| (item.choice(), words(item))).collect()
    }

    fn currencies(&self) -> Vec<(String, String)> {
        let others = self.items.iter().filter(|item| item.kind == PriceKind::Exchange);
        others.map(|item| (item.choice(), item.name.clone())).collect()
    }

    /// Which way round a rate is typed.
    fn ways(&self) -> Vec<(&'static str, String)> {
        let own = &self.frame.show.units.currency;
        vec![("", format!("of it for one {own}")), (EACH, format!("{own} for one of it"))]
    }

    fn note_place(&self, item: &Item) -> String {
        let form = if item.kind == PriceKind::Exchange { "rate" } else { "note" };
        format!("{Prices}?what={}#{form}", item.choice())
    }

    fn figure(&self, item: &Item) -> Html {
        let figure = item.figure(&self.frame.show);
        match item.computed() {
            Some(price) => working_of(&figure, &price.working),
            None => figure,
        }
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    what: String,
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<ListPrices, Fault> {
    let frame = signed.frame.clone();
    let today = signed.now.day_in(&frame.show.zone);
    let items = view::items(&app.pool, today, &frame.show.units.currency).await?;
    let of_rate = form.value("what").starts_with("exchange") || form.ticked("rates");
    let fresh = Form::filled([("valid_from", today.to_string())]);
    let (form, rate) = if of_rate { (fresh, form) } else { (form, fresh) };
    Ok(ListPrices { frame, items, form, rate })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Query(wanted): Query<Wanted>,
) -> Result<ListPrices, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let form = Form::filled([("what", wanted.what), ("valid_from", today.to_string())]);
    page(&app, &signed, form).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let show = &signed.frame.show;
    let today = signed.now.day_in(&show.zone);
    let Some(price) = PriceForm::read(&mut form, &show.units.currency, today) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::note(conn, &signed, &price).await?;
            Ok(Price(price.kind, &price.item))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
