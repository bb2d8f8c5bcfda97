//! All printers, and the form for a new one.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::people::{Owner, Signed};
use crate::printers::forms::PrinterForm;
use crate::printers::view::{self, PrinterRow};
use crate::printers::{Printer, Printers, actions};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "printers/printers.html")]
pub(crate) struct ListPrinters {
    frame: Frame,
    printers: Vec<PrinterRow>,
    form: Form,
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<ListPrinters, Fault> {
    let printers = view::printers(&app.pool).await?;
    Ok(ListPrinters { frame: signed.frame.clone(), printers, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
) -> Result<ListPrinters, Fault> {
    page(&app, &signed, usual()).await
}

pub(crate) async fn add(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(printer) = PrinterForm::read(&mut form) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let id = actions::add_printer(conn, &signed, &printer)
                .await
                .map_err(|fault| fault.at("name"))?;
            Ok(Printer(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}

/// What many resin printers are set to; the owner puts in their own.
fn usual() -> Form {
    Form::filled([
        ("layer", "50".to_owned()),
        ("exposure", "6".to_owned()),
        ("bottom_layers", "5".to_owned()),
        ("bottom_exposure", "40".to_owned()),
        ("lift", "6".to_owned()),
        ("hour_rate", "0".to_owned()),
    ])
}
