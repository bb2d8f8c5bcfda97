//! Pricing an order: everything that can be turned, and what comes of it, before anything is kept.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::db::once::{self, Begun};
use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::{Owner, Signed};
use crate::promises::{self, Asked, Outlook};
use crate::quotes::content::Content;
use crate::quotes::defaults::{Shop, defaults};
use crate::quotes::inputs::Inputs;
use crate::quotes::paths::Quote;
use crate::quotes::reckon::{Missing, reckon};
use crate::quotes::{PriceOrder, Quotes, actions, view};
use crate::studio::Settings;
use crate::web::{App, Fault, Form, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "quotes/price.html")]
pub(crate) struct PricePage {
    frame: Frame,
    order: OrderRow,
    form: Form,
    content: Option<Content>,
    outlook: Option<Outlook>,
    missing: Vec<Missing>,
    currency: String,
    resins: Vec<(String, String)>,
    printers: Vec<(String, String)>,
    investments: Vec<(String, String)>,
    kilns: Vec<(String, String)>,
}

fn choices<I: ToString>(things: impl Iterator<Item = (I, String)>) -> Vec<(String, String)> {
    let mut list = vec![(String::new(), "Not charged".to_owned())];
    list.extend(things.map(|(id, name)| (id.to_string(), name)));
    list
}

fn page(
    signed: &Signed,
    order: OrderRow,
    shop: &Shop,
    settings: &Settings,
    form: Form,
    outcome: Option<Result<Content, Vec<Missing>>>,
    outlook: Option<Outlook>,
) -> PricePage {
    let (content, missing) = match outcome {
        Some(Ok(content)) => (Some(content), Vec::new()),
        Some(Err(missing)) => (None, missing),
        None => (None, Vec::new()),
    };
    PricePage {
        frame: signed.frame.clone(),
        order,
        form,
        content,
        outlook,
        missing,
        currency: settings.currency.clone(),
        resins: choices(shop.resins.iter().cloned()),
        printers: choices(shop.printers.iter().map(|p| (p.id, p.name.clone()))),
        investments: choices(shop.investments.iter().map(|i| (i.id, i.name.clone()))),
        kilns: choices(shop.kilns.iter().map(|k| (k.id, k.name.clone()))),
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
) -> Result<PricePage, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let shop = Shop::load(&app.pool).await?;
    let settings = Settings::load(&app.pool).await?;
    // What was turned last time stays turned.
    let inputs = match view::newest(&app.pool, order.id).await? {
        Some(quote) => quote.content.0.inputs,
        None => defaults(&app.pool, &shop, &settings).await?,
    };
    let today = signed.now.day_in(&signed.frame.show.zone);
    let form = inputs.form();
    let outlook = when(&app, &signed, &order, &inputs).await?;
    let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
    Ok(page(&signed, order, &shop, &settings, form, Some(outcome), Some(outlook)))
}

/// When the order would be ready if the client said yes now.
async fn when(
    app: &App,
    signed: &Signed,
    order: &OrderRow,
    inputs: &Inputs,
) -> Result<Outlook, Fault> {
    let asked = Asked { day: inputs.ready_by, spares: inputs.spares, hurried: true };
    promises::reckon(&app.pool, order.id, signed.now, asked).await
}

pub(crate) async fn preview(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let shop = Shop::load(&app.pool).await?;
    let settings = Settings::load(&app.pool).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let taken = form.value("take").to_owned();
    if !taken.is_empty() {
        form.set("ready_by", &taken);
    }
    let Some(inputs) = Inputs::read(&mut form, today) else {
        let page = page(&signed, order, &shop, &settings, form, None, None);
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let outlook = when(&app, &signed, &order, &inputs).await?;
    let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
    let page = page(&signed, order, &shop, &settings, form, Some(outcome), Some(outlook));
    Ok(page.into_response())
}

pub(crate) async fn save(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let shop = Shop::load(&app.pool).await?;
    let settings = Settings::load(&app.pool).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let Some(inputs) = Inputs::read(&mut form, today) else {
        let page = page(&signed, order, &shop, &settings, form, None, None);
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let outcome = reckon(&app.pool, &order, &shop, &settings, inputs, today).await?;
    let content = match outcome {
        Ok(content) => content,
        missing => {
            let page = page(&signed, order, &shop, &settings, form, Some(missing), None);
            return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
        }
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    match actions::save_draft(&mut work.tx, &signed, number, &content, seen).await {
        Ok(n) => {
            let place = Quote(number, n).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            form.refuse(&refused);
            let order = orders::load(&app.pool, number).await?;
            let page = page(&signed, order, &shop, &settings, form, Some(Ok(content)), None);
            Ok((refused.status, page).into_response())
        }
        Err(fault) => Err(fault),
    }
}
