//! A new plate: printer, bottle, settings, and the pieces that wait, first due first.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::id::AttemptId;
use crate::people::Signed;
use crate::pieces;
use crate::plates::forms::SettingForm;
use crate::plates::model::{CLEARANCE_MM, ORIENTATIONS, SUPPORTS};
use crate::plates::view::{self, Waiting};
use crate::plates::{Plate, Plates, actions};
use crate::printers::{self, LotChoice, PrinterRow, ProfileRow};
use crate::trials::{self, DrawnPiece, Usual};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "plates/new.html")]
pub(crate) struct NewPlatePage {
    frame: Frame,
    form: Form,
    printers: Vec<PrinterRow>,
    lots: Vec<LotChoice>,
    profiles: Vec<ProfileRow>,
    waiting: Vec<Waiting>,
    /// How many wait in all, listed or not.
    rows: i64,
    /// What a trial has shown about supports.
    usual: Option<Usual>,
    drawn: Vec<DrawnPiece>,
}

impl NewPlatePage {
    /// How a piece was drawn for a trial that is under way.
    fn drawn_for(&self, attempt: &AttemptId) -> Option<&DrawnPiece> {
        self.drawn.iter().find(|drawn| drawn.attempt == *attempt)
    }

    fn printer_options(&self) -> Vec<(String, String)> {
        printer_options(&self.printers)
    }

    fn lot_options(&self) -> Vec<(String, String)> {
        lot_options(&self.lots)
    }

    fn profile_options(&self) -> Vec<(String, String)> {
        profile_options(&self.profiles)
    }

    fn picked(&self, attempt: &AttemptId) -> bool {
        let attempt = attempt.to_string();
        self.form.all("pieces").any(|ticked| ticked == attempt)
    }
}

pub(super) fn printer_options(printers: &[PrinterRow]) -> Vec<(String, String)> {
    let words = |printer: &PrinterRow| {
        format!(
            "{}, {:.0} × {:.0} × {:.0} mm, {} µm, {} s",
            printer.name,
            printer.width_mm,
            printer.depth_mm,
            printer.height_mm,
            printer.layer_um,
            printer.exposure_s
        )
    };
    printers.iter().map(|printer| (printer.id.to_string(), words(printer))).collect()
}

pub(super) fn lot_options(lots: &[LotChoice]) -> Vec<(String, String)> {
    lots.iter().map(|lot| (lot.id.to_string(), lot.words())).collect()
}

/// Profiles of all printers; the first is none of them.
pub(super) fn profile_options(profiles: &[ProfileRow]) -> Vec<(String, String)> {
    let usual = (String::new(), "the printer's usual".to_owned());
    let each = profiles.iter().map(|profile| (profile.id.to_string(), profile.words()));
    std::iter::once(usual).chain(each).collect()
}

pub(super) fn orientation_options() -> Vec<(&'static str, &'static str)> {
    ORIENTATIONS.iter().map(|words| (*words, *words)).collect()
}

pub(super) fn support_options() -> Vec<(&'static str, &'static str)> {
    SUPPORTS.iter().map(|(name, words, _)| (*name, *words)).collect()
}

async fn page(app: &App, signed: &Signed, mut form: Form) -> Result<NewPlatePage, Fault> {
    let printers = printers::printers_in_use(&app.pool).await?;
    let lots = printers::lots_in_use(&app.pool).await?;
    let profiles = printers::profiles_in_use(&app.pool).await?;
    let (waiting, rows) = view::waiting(&app.pool).await?;
    let usual = trials::usual(&app.pool, trials::Setting::Supports).await?;
    let drawn = trials::drawn(&app.pool, trials::Setting::Supports).await?;
    // Nothing chosen yet: what a trial has shown, else the middle.
    if form.value("supports").is_empty() {
        form.set("supports", usual.as_ref().map_or("medium", |usual| &usual.value));
    }
    let frame = signed.frame.clone();
    Ok(NewPlatePage { frame, form, printers, lots, profiles, waiting, rows, usual, drawn })
}

/// The address may name pieces that are ticked already, as a scanned ticket does.
pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    RawQuery(query): RawQuery,
) -> Result<NewPlatePage, Fault> {
    let form = Form::parse(query.unwrap_or_default().as_bytes());
    page(&app, &signed, form).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let attempts = pieces::ticked(&mut form);
    let Some(setting) = SettingForm::read(&mut form) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let number = actions::create(&app.pool, conn, &signed, &setting, &attempts).await?;
            Ok(Plate(number))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
