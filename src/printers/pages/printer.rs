//! One printer: its plate, its usual settings, its rate.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::id::PrinterId;
use crate::people::{Owner, Signed};
use crate::printers::forms::PrinterForm;
use crate::printers::view::{self, PrinterRow, ProfileRow};
use crate::printers::{Printer, Printers, actions};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "printers/printer.html")]
pub(crate) struct ShowPrinter {
    frame: Frame,
    printer: PrinterRow,
    profiles: Vec<ProfileRow>,
    form: Form,
    profile_form: Form,
}

/// Makes the page; a form that was refused is shown with what was typed in it.
pub(super) async fn page(
    app: &App,
    signed: &Signed,
    id: PrinterId,
    form: Option<Form>,
    profile_form: Option<Form>,
) -> Result<ShowPrinter, Fault> {
    let printer = view::printer(&app.pool, id).await?;
    let form = form.unwrap_or_else(|| {
        Form::filled([
            ("name", printer.name.clone()),
            ("width", printer.width_mm.to_string()),
            ("depth", printer.depth_mm.to_string()),
            ("height", printer.height_mm.to_string()),
            ("layer", printer.layer_um.to_string()),
            ("exposure", printer.exposure_s.to_string()),
            ("bottom_layers", printer.bottom_layers.to_string()),
            ("bottom_exposure", printer.bottom_exposure_s.to_string()),
            ("lift", printer.lift_s.to_string()),
            ("hour_rate", printer.hour_rate.normalize().to_string()),
        ])
    });
    let profiles = view::profiles(&app.pool, id).await?;
    // A new profile starts from what is usual.
    let profile_form = profile_form.unwrap_or_else(|| {
        Form::filled([
            ("layer", printer.layer_um.to_string()),
            ("exposure", printer.exposure_s.to_string()),
            ("bottom_layers", printer.bottom_layers.to_string()),
            ("bottom_exposure", printer.bottom_exposure_s.to_string()),
            ("lift", printer.lift_s.to_string()),
        ])
    });
    Ok(ShowPrinter { frame: signed.frame.clone(), printer, profiles, form, profile_form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PrinterId>,
) -> Result<ShowPrinter, Fault> {
    page(&app, &signed, id, None, None).await
}

pub(crate) async fn change(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PrinterId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(printer) = PrinterForm::read(&mut form) else {
        let page = page(&app, &signed, id, Some(form), None).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change_printer(conn, &signed, id, &printer, seen).await?;
            Ok(Printer(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Some(form), None)).await
}

pub(crate) async fn retire(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<PrinterId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let retire = form.value("retire") == "yes";
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::retire_printer(conn, &signed, id, retire, seen).await?;
            Ok(Printers)
        })
        .await?;
    ended
        .or_tell(async |refused| {
            let mut page = page(&app, &signed, id, None, None).await?;
            page.form.refuse(&refused);
            Ok(page)
        })
        .await
}
