//! The tariffs of the studio, and a new one.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use crate::people::{Owner, Signed};
use crate::studio::Settings;
use crate::tariffs::forms::{LINES, NewTariff, field};
use crate::tariffs::model::Days;
use crate::tariffs::store::{self, TariffRow};
use crate::web::{App, Fault, Form, Frame, Html};

const PLACE: &str = "/studio/tariffs";

#[derive(Template, WebTemplate)]
#[template(path = "tariffs/list.html")]
pub(crate) struct TariffsPage {
    frame: Frame,
    form: Form,
    tariffs: Vec<TariffRow>,
    per_kwh: String,
    /// By how many minutes a piece may be late for an hour of heating in dear hours.
    dear_hour_min: i32,
}

impl TariffsPage {
    /// The inputs of each line.
    fn lines(&self) -> Vec<[Html; 4]> {
        let days: Vec<(&str, &str)> =
            Days::ALL.iter().map(|(_, word, words)| (*word, *words)).collect();
        (0..LINES)
            .map(|line| {
                let [day, from, to, price] =
                    ["days", "from", "to", "price"].map(|what| field(what, line));
                [
                    self.form.input(&day, "On").options(&days).html(),
                    self.form.input(&from, "From").kind("time").html(),
                    self.form.input(&to, "Until").kind("time").html(),
                    self.form.input(&price, "Price").kind("decimal").unit(&self.per_kwh).html(),
                ]
            })
            .collect()
    }

    fn time(&self, minutes: &i32) -> String {
        format!("{:02}:{:02}", minutes / 60, minutes % 60)
    }

    fn is_in_force(&self, tariff: &TariffRow) -> bool {
        let today = self.frame.show.now.day_in(&self.frame.show.zone);
        self.tariffs.iter().find(|one| one.valid_from <= today).is_some_and(|o| o.id == tariff.id)
    }
}

async fn page(app: &App, signed: &Signed, form: Option<Form>) -> Result<TariffsPage, Fault> {
    let tariffs = store::list(&app.pool).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let form = form.unwrap_or_else(|| Form::filled([("valid_from", today.to_string())]));
    let settings = Settings::load(&app.pool).await?;
    Ok(TariffsPage {
        frame: signed.frame.clone(),
        form,
        tariffs,
        per_kwh: format!("{}/kWh", settings.currency),
        dear_hour_min: settings.dear_hour_min,
    })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<TariffsPage, Fault> {
    page(&app, &signed, None).await
}

pub(crate) async fn add(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(new) = NewTariff::read(&mut form) else {
        let page = page(&app, &signed, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let currency = Settings::load(&app.pool).await?.currency;
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            store::insert(conn, &new, &currency, signed.now, signed.person)
                .await
                .map_err(|error| Fault::from(error).at("valid_from"))?;
            Ok(PLACE)
        })
        .await?;
    ended.or_show(page(&app, &signed, Some(form))).await
}

pub(crate) async fn remove(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(tariff): Path<Uuid>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        store::remove(conn, tariff).await?;
        Ok(PLACE)
    })
    .await?
    .led()
}
