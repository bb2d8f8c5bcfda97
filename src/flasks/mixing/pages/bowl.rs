//! The bowl with its bell and pump, and the bags of investment.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use crate::flasks::mixing::model::BowlRow;
use crate::flasks::mixing::store::{self, LotRow, NewLot};
use crate::people::{Owner, Signed};
use crate::web::{App, Fault, Form, Frame};

const PLACE: &str = "/studio/mixing";

#[derive(Template, WebTemplate)]
#[template(path = "flasks/bowl.html")]
pub(crate) struct BowlPage {
    frame: Frame,
    /// The bowl.
    form: Form,
    /// A new bag.
    bag: Form,
    lots: Vec<LotRow>,
    investments: Vec<(Uuid, String)>,
}

fn filled(bowl: &BowlRow) -> Form {
    Form::filled([
        ("brimful_cm3", bowl.brimful_cm3.to_string()),
        ("boil_up", bowl.boil_up.to_string()),
        ("pump_cm3", bowl.pump_cm3.map(|cm3| cm3.to_string()).unwrap_or_default()),
        ("flasks_under_bell", bowl.flasks_under_bell.to_string()),
        ("allowance_percent", bowl.allowance_percent.to_string()),
    ])
}

async fn page(
    app: &App,
    signed: &Signed,
    form: Option<Form>,
    bag: Option<Form>,
) -> Result<BowlPage, Fault> {
    let bowl = store::bowl(&app.pool).await?;
    let today = signed.now.day_in(&signed.frame.show.zone);
    let fresh =
        || Form::filled([("received_on", today.to_string()), ("shelf_months", "12".to_owned())]);
    Ok(BowlPage {
        frame: signed.frame.clone(),
        form: form.unwrap_or_else(|| filled(&bowl)),
        bag: bag.unwrap_or_else(fresh),
        lots: store::lots(&app.pool).await?,
        investments: store::investments(&app.pool).await?,
    })
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<BowlPage, Fault> {
    page(&app, &signed, None, None).await
}

pub(crate) async fn set(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let brimful = form.number("brimful_cm3", 50.0, 500_000.0);
    let boil_up = form.number("boil_up", 1.0, 10.0);
    let pump_cm3 = form.number_or_none("pump_cm3", 50.0, 500_000.0);
    let bell = form.whole("flasks_under_bell", 1, 100);
    let allowance = form.number("allowance_percent", 0.0, 50.0);
    let (true, Some(brimful_cm3), Some(boil_up), Some(bell), Some(allowance_percent)) =
        (form.good(), brimful, boil_up, bell, allowance)
    else {
        let page = page(&app, &signed, Some(form), None).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let flasks_under_bell = i32::try_from(bell).unwrap_or(1);
    let to = BowlRow { brimful_cm3, boil_up, pump_cm3, flasks_under_bell, allowance_percent };
    form.act_once(&app.pool, signed.now, async |conn| {
        store::set_bowl(conn, &to).await?;
        Ok(PLACE)
    })
    .await?
    .led()
}

fn read_lot(form: &mut Form) -> Option<NewLot> {
    let investment = form.choice("investment");
    let lot = form.needed("lot", 120);
    let mass_kg = form.number("mass_kg", 0.01, 5000.0);
    let received_on = form.day("received_on");
    let opened_on = form.day_or_none("opened_on");
    let shelf = form.whole("shelf_months", 1, 120);
    if opened_on.zip(received_on).is_some_and(|(opened, received)| opened < received) {
        form.wrong("opened_on", "It cannot be opened before it came.");
    }
    if !form.good() {
        return None;
    }
    Some(NewLot {
        investment: investment?,
        lot,
        mass_g: mass_kg? * 1000.0,
        received_on: received_on?,
        opened_on,
        shelf_months: i32::try_from(shelf?).unwrap_or(12),
    })
}

pub(crate) async fn add_lot(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(new) = read_lot(&mut form) else {
        let page = page(&app, &signed, None, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            store::add_lot(conn, &new).await.map_err(|error| Fault::from(error).at("lot"))?;
            Ok(PLACE)
        })
        .await?;
    ended.or_show(page(&app, &signed, None, Some(form))).await
}

pub(crate) async fn mark_lot(
    State(app): State<App>,
    signed: Signed,
    Path((lot, what)): Path<(Uuid, String)>,
    mut form: Form,
) -> Result<Response, Fault> {
    if !["open", "empty", "not-empty"].contains(&what.as_str()) {
        return Err(Fault::NotFound);
    }
    form.act_once(&app.pool, signed.now, async |conn| {
        let today = signed.now.day_in(&signed.frame.show.zone);
        store::mark_lot(conn, lot, &what, today).await?;
        Ok(PLACE)
    })
    .await?
    .led()
}
