//! Proposed plates: what waits for print, packed by outline, due first; one tap lays them out.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use crate::id::AttemptId;
use crate::people::Signed;
use crate::plates::forms::SettingForm;
use crate::plates::model::{self, Proposal, ProposedPlate, Setting};
use crate::plates::view::{self, Drawn, Waiting};
use crate::plates::{Plate, Plates, ProposePlates, actions};
use crate::prices::{DayPrice, DayPrices, PriceKind};
use crate::printers::{self, LotChoice, PrinterRow, ProfileRow};
use crate::studio::Settings;
use crate::trials::{self, Usual};
use crate::web::{App, Fault, Form, Frame, Html, working_of};

#[derive(Template, WebTemplate)]
#[template(path = "plates/propose.html")]
pub(crate) struct ProposePlatesPage {
    frame: Frame,
    form: Form,
    printers: Vec<PrinterRow>,
    lots: Vec<LotChoice>,
    profiles: Vec<ProfileRow>,
    waiting: Vec<Waiting>,
    /// How many wait in all, packed or not.
    rows: i64,
    usual: Option<Usual>,
    setting: Option<Setting>,
    proposal: Option<Proposal>,
    price: Option<Result<DayPrice, String>>,
}

impl ProposePlatesPage {
    fn printer_options(&self) -> Vec<(String, String)> {
        super::new::printer_options(&self.printers)
    }

    fn lot_options(&self) -> Vec<(String, String)> {
        super::new::lot_options(&self.lots)
    }

    fn profile_options(&self) -> Vec<(String, String)> {
        super::new::profile_options(&self.profiles)
    }

    fn drawn(&self, plate: &ProposedPlate) -> Vec<Drawn> {
        let depth_mm = self.setting.as_ref().map_or(0.0, |setting| setting.depth_mm);
        view::draw_places(depth_mm, &plate.places)
    }

    fn run_time(&self, plate: &ProposedPlate) -> Option<Html> {
        let run = plate.reckoned.run.as_ref()?;
        let minutes = run.value.duration.get().round() as i64;
        Some(working_of(&self.frame.show.minutes(minutes), &run.working))
    }

    fn layers(&self, plate: &ProposedPlate) -> Option<u32> {
        plate.reckoned.run.as_ref().map(|run| run.value.layers)
    }

    fn resin(&self, plate: &ProposedPlate) -> Option<Html> {
        let resin = plate.reckoned.resin.as_ref()?;
        let ml = resin.value.cubic_centimetres();
        Some(working_of(&self.frame.show.number(ml, 1, "ml"), &resin.working))
    }

    fn resin_cost(&self, plate: &ProposedPlate) -> Option<Html> {
        // What things cost is the owner's to see.
        let price = self.price.as_ref().filter(|_| self.frame.owner())?.as_ref().ok()?;
        let cost = cost_of(plate.reckoned.resin_ml()?, price)?;
        Some(self.frame.show.money(cost))
    }

    fn missing_price(&self) -> Option<&str> {
        self.price.as_ref().filter(|_| self.frame.owner())?.as_ref().err().map(String::as_str)
    }

    fn covered(&self, plate: &ProposedPlate) -> Html {
        self.frame.show.number(plate.covered * 100.0, 0, "%")
    }

    fn due(&self, attempt: &AttemptId) -> Option<String> {
        let piece = self.waiting.iter().find(|piece| piece.attempt == *attempt)?;
        Some(self.frame.show.day(piece.due_on?))
    }

    fn late(&self, attempt: &AttemptId) -> bool {
        let piece = self.waiting.iter().find(|piece| piece.attempt == *attempt);
        piece.and_then(|piece| piece.due_on).is_some_and(|due| self.frame.show.past(due))
    }

    fn attempts(&self, plate: &ProposedPlate) -> String {
        plate.places.iter().map(|place| place.attempt.to_string()).collect::<Vec<_>>().join(",")
    }
}

/// What resin costs, from its millilitres and the price of one.
pub(super) fn cost_of(resin_ml: f64, price: &DayPrice) -> Option<Decimal> {
    Decimal::from_f64(resin_ml)?.checked_mul(price.amount)
}

/// The price of a millilitre of the resin in a bottle, today.
pub(super) async fn price_of(
    app: &App,
    signed: &Signed,
    lot: crate::id::ResinLotId,
) -> Result<Option<Result<DayPrice, String>>, Fault> {
    let Some((resin, name)) = view::resin_of(&app.pool, lot).await? else { return Ok(None) };
    let settings = Settings::load(&app.pool).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let prices = DayPrices::load(&app.pool, today, &settings.currency, &[]).await?;
    Ok(Some(prices.of(PriceKind::Resin, &resin.to_string(), &name)))
}

async fn page(app: &App, signed: &Signed, mut form: Form) -> Result<ProposePlatesPage, Fault> {
    let printers = printers::printers_in_use(&app.pool).await?;
    let lots = printers::lots_in_use(&app.pool).await?;
    let (waiting, rows) = view::waiting(&app.pool).await?;
    let usual = trials::usual(&app.pool, trials::Setting::Supports).await?;
    if form.value("supports").is_empty() {
        form.set("supports", usual.as_ref().map_or("medium", |usual| &usual.value));
    }
    if let (true, Some(printer)) = (form.value("printer").is_empty(), printers.first()) {
        form.set("printer", &printer.id.to_string());
    }
    if let (true, Some(lot)) = (form.value("lot").is_empty(), lots.first()) {
        form.set("lot", &lot.id.to_string());
    }
    let mut page = ProposePlatesPage {
        frame: signed.frame.clone(),
        form,
        printers,
        lots,
        profiles: printers::profiles_in_use(&app.pool).await?,
        waiting,
        rows,
        usual,
        setting: None,
        proposal: None,
        price: None,
    };
    if page.printers.is_empty() || page.lots.is_empty() || page.waiting.is_empty() {
        return Ok(page);
    }
    let Some(chosen) = SettingForm::read(&mut page.form) else { return Ok(page) };
    let Some(printer) = page.printers.iter().find(|printer| printer.id == chosen.printer) else {
        page.form.wrong("printer", "This printer is out of use; choose another.");
        return Ok(page);
    };
    let profile = match chosen.profile {
        Some(id) => match page.profiles.iter().find(|profile| profile.id == id) {
            Some(profile) if profile.printer_id == printer.id => Some(profile),
            _ => {
                page.form.wrong("profile", "This profile belongs to another printer.");
                return Ok(page);
            }
        },
        None => None,
    };
    let setting = Setting {
        width_mm: printer.width_mm,
        depth_mm: printer.depth_mm,
        height_mm: printer.height_mm,
        layer_um: chosen
            .layer_um
            .unwrap_or(profile.map_or(printer.layer_um, |profile| profile.layer_um)),
        exposure_s: chosen
            .exposure_s
            .unwrap_or(profile.map_or(printer.exposure_s, |profile| profile.exposure_s)),
        bottom_layers: profile.map_or(printer.bottom_layers, |profile| profile.bottom_layers),
        bottom_exposure_s: profile
            .map_or(printer.bottom_exposure_s, |profile| profile.bottom_exposure_s),
        lift_s: profile.map_or(printer.lift_s, |profile| profile.lift_s),
        supports: chosen.supports.clone(),
        any_side: chosen.any_side,
    };
    page.price = price_of(app, signed, chosen.lot).await?;
    let pieces = page.waiting.iter().map(Waiting::model).collect();
    match actions::propose(&app.pool, setting.clone(), pieces).await {
        Ok(proposal) => page.proposal = Some(proposal),
        Err(Fault::Refused(refused)) => page.form.refuse(&refused),
        Err(fault) => return Err(fault),
    }
    page.setting = Some(setting);
    Ok(page)
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<ProposePlatesPage, Fault> {
    let form = Form::parse(query.unwrap_or_default().as_bytes());
    page(&app, &signed, form).await
}

/// The pieces of each plate that is to be made.
fn wanted(form: &mut Form) -> Vec<Vec<AttemptId>> {
    let lists: Vec<Vec<AttemptId>> = form
        .all("plate")
        .map(|list| list.split(',').filter_map(|id| id.parse().ok()).collect())
        .filter(|list: &Vec<AttemptId>| !list.is_empty())
        .collect();
    if lists.is_empty() {
        form.wrong("pieces", "No plate was named; propose again.");
    }
    lists
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let lists = wanted(&mut form);
    let Some(setting) = SettingForm::read(&mut form) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let mut made = Vec::new();
            for attempts in &lists {
                made.push(actions::create(&app.pool, conn, &signed, &setting, attempts).await?);
            }
            Ok(match made[..] {
                [number] => Plate(number).to_string(),
                _ => Plates.to_string(),
            })
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
