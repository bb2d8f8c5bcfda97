//! One resin: its figures, and the bottles of it.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::db::once::{self, Begun};
use crate::id::{ResinId, ResinLotId};
use crate::people::{Owner, Signed};
use crate::printers::forms::{LotForm, ResinForm};
use crate::printers::view::{self, LotRow, ResinRow};
use crate::printers::{Resin, Resins, actions};
use crate::web::{App, Ended, Fault, Form, Frame, see_other};

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
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = actions::change_resin(&mut work.tx, &signed, id, &resin, seen)
        .await
        .map(|()| Resin(id).to_string());
    match form.ended(work, done).await? {
        Ended::Led(response) => Ok(response),
        Ended::Refused(status) => {
            let page = page(&app, &signed, id, Back::Details(form)).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(crate) async fn retire(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(id): Path<ResinId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let (retire, seen) = (form.value("retire") == "yes", form.version());
    match actions::retire_resin(&mut work.tx, &signed, id, retire, seen).await {
        Ok(()) => {
            work.commit(&Resins.to_string()).await?;
            Ok(see_other(&Resins.to_string()))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            let mut page = page(&app, &signed, id, Back::Neither).await?;
            page.form.refuse(&refused);
            Ok((refused.status, page).into_response())
        }
        Err(fault) => Err(fault),
    }
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
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    match actions::add_lot(&mut work.tx, &signed, id, &lot).await {
        Ok(_) => {
            let place = Resin(id).to_string();
            work.commit(&place).await?;
            Ok(see_other(&place))
        }
        Err(Fault::Refused(refused)) => {
            drop(work);
            form.refuse(&refused.clone().at("lot"));
            let page = page(&app, &signed, id, Back::Lot(form)).await?;
            Ok((refused.status, page).into_response())
        }
        Err(fault) => Err(fault),
    }
}

pub(crate) async fn used_up(
    State(app): State<App>,
    Owner(signed): Owner,
    Path((id, lot)): Path<(ResinId, ResinLotId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let place = Resin(id).to_string();
    if let Begun::First(mut work) = once::begin(&app.pool, form.key(), signed.now).await? {
        actions::use_up_lot(&mut work.tx, &signed, id, lot).await?;
        work.commit(&place).await?;
    }
    Ok(see_other(&place))
}
