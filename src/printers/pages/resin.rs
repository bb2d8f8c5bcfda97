//! One resin: its figures, and the bottles of it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::id::{ResinId, ResinLotId};
use crate::people::{Owner, Signed};
use crate::printers::forms::{LotForm, ResinForm};
use crate::printers::view::{self, LotRow, ResinRow};
use crate::printers::{Resin, Resins, actions};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "printers/resin.html")]
pub(crate) struct ShowResin {
    frame: Frame,
    resin: ResinRow,
    lots: Vec<LotRow>,
    form: Form,
    lot_form: Form,
}

/// Which of the page's forms comes back.
enum Back {
    Neither,
    Details(Form),
    Lot(Form),
}

async fn page(app: &App, signed: &Signed, id: ResinId, back: Back) -> Result<ShowResin, Fault> {
    let resin = view::resin(&app.pool, id).await?;
    let lots = view::lots(&app.pool, id).await?;
    let details = || {
        Form::filled([
            ("name", resin.name.clone()),
            ("density", resin.density_g_cm3.to_string()),
            ("shrinkage", format!("{:.3}", resin.shrinkage * 100.0)),
            ("wash", resin.wash_minutes.to_string()),
            ("cure", resin.cure_minutes.to_string()),
            ("source", resin.source.clone()),
        ])
    };
    let lot = || {
        let today = signed.now.day_in(&signed.frame.show.zone);
        Form::filled([("opened_on", today.to_string())])
    };
    let (form, lot_form) = match back {
        Back::Neither => (details(), lot()),
        Back::Details(form) => (form, lot()),
        Back::Lot(form) => (details(), form),
    };
    Ok(ShowResin { frame: signed.frame.clone(), resin, lots, form, lot_form })
}

pub(crate) async fn show(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ResinId>,
) -> Result<ShowResin, Fault> {
    page(&app, &signed, id, Back::Neither).await
}

pub(crate) async fn change(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ResinId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let Some(resin) = ResinForm::read(&mut form) else {
        let page = page(&app, &signed, id, Back::Details(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::change_resin(conn, &signed, id, &resin, seen).await?;
            Ok(Resin(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Back::Details(form))).await
}

pub(crate) async fn retire(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ResinId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let (retire, seen) = (form.value("retire") == "yes", form.version());
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::retire_resin(conn, &signed, id, retire, seen).await?;
            Ok(Resins)
        })
        .await?;
    ended
        .or_tell(async |refused| {
            let mut page = page(&app, &signed, id, Back::Neither).await?;
            page.form.refuse(&refused);
            Ok(page)
        })
        .await
}

pub(crate) async fn add_lot(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ResinId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(lot) = LotForm::read(&mut form) else {
        let page = page(&app, &signed, id, Back::Lot(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::add_lot(conn, &signed, id, &lot).await.map_err(|fault| fault.at("lot"))?;
            Ok(Resin(id))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Back::Lot(form))).await
}

pub(crate) async fn used_up(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((id, lot)): Path<(ResinId, ResinLotId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        actions::use_up_lot(conn, &signed, id, lot).await?;
        Ok(Resin(id))
    })
    .await?
    .led()
}
