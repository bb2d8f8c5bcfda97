//! Today's prices, what is missing first, and the form to note one.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::people::{Owner, Signed};
use crate::prices::forms::PriceForm;
use crate::prices::model::TYPED_UNITS;
use crate::prices::view::{self, Item};
use crate::prices::{Price, PriceKind, PriceRules, Prices, actions};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "prices/list.html")]
pub(crate) struct ListPrices {
    frame: Frame,
    items: Vec<Item>,
    form: Form,
}

impl ListPrices {
    fn missing(&self) -> Vec<&Item> {
        // Gas and premiums are charged only where there are any.
        let needed = |item: &&Item| !matches!(item.kind, PriceKind::Gas | PriceKind::Premium);
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
        self.items.iter().map(|item| (item.choice(), words(item))).collect()
    }

    fn figure(&self, item: &Item) -> Html {
        let Ok(price) = &item.price else { return Html::default() };
        let figure = self.frame.show.price(price.amount, item.kind.unit());
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
    Ok(ListPrices { frame, items, form })
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
