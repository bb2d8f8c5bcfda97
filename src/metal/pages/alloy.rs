//! One alloy: what there is of it, counting it, sending it to the refiner, its lots.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use rust_decimal::Decimal;

use super::confirm::{Weighed, asks};
use crate::id::AlloyId;
use crate::metal::forms::{COUNTED, CountForm, RefineForm, RefinedForm};
use crate::metal::model::Account;
use crate::metal::view::{self, Held, Lot};
use crate::metal::{
    AccountEntries, Buy, EntriesPage, EntryPage, LotPage, MetalPage, OfAlloy, OwnPage, actions,
    melt,
};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame, Html};

#[derive(Template, WebTemplate)]
#[template(path = "metal/alloy.html")]
pub(crate) struct ShowAlloy {
    frame: Frame,
    alloy: Held,
    lots: Vec<Lot>,
    count: Form,
    refine: Form,
    back: Form,
    alloys: Vec<(AlloyId, String)>,
    /// The least share of fresh metal, and whether it is the alloy's own.
    fresh: (Decimal, bool),
}

impl ShowAlloy {
    fn marks(&self) -> Vec<String> {
        melt::marks(&self.alloy.parts)
    }

    /// The fields of a stock take with what the ledger says beside each.
    fn counts(&self) -> Vec<Html> {
        COUNTED
            .iter()
            .map(|account| {
                let held = ledger_cg(&self.alloy, *account);
                let words = Account::words(account.kind());
                let hint = format!("The ledger says {:.2} g.", held as f64 / 100.0);
                let field = self.count.input(account.kind(), words).kind("decimal").unit("g");
                let field = field.hint(&hint).html();
                let seen = format!(
                    "<input type=\"hidden\" name=\"seen_{}\" value=\"{held}\">",
                    account.kind()
                );
                Html::trusted(format!("<div>{field}{seen}</div>"))
            })
            .collect()
    }
}

/// What the ledger says of an account that is counted.
fn ledger_cg(alloy: &Held, account: Account) -> i64 {
    match account {
        Account::Fresh => alloy.fresh,
        Account::Returns => alloy.returns,
        _ => alloy.filings,
    }
}

/// What was weighed beside what the ledger says now; what has moved meanwhile is refused anyway.
fn weighed(take: &CountForm, id: AlloyId, alloy: &Held) -> Vec<Weighed> {
    let counted = take.counted.iter().filter(|each| ledger_cg(alloy, each.account) == each.seen_cg);
    counted
        .map(|each| Weighed {
            alloy_id: id,
            alloy: alloy.name.clone(),
            place: Account::words(each.account.kind()).to_owned(),
            ledger_cg: each.seen_cg,
            counted_cg: each.counted_cg,
        })
        .collect()
}

async fn page(
    app: &App,
    signed: &Signed,
    id: AlloyId,
    count: Form,
    refine: Option<Form>,
) -> Result<ShowAlloy, Fault> {
    let alloy = view::held(&app.pool, None, Some(id)).await?.pop().ok_or(Fault::NotFound)?;
    let lots = view::lots(&app.pool, id).await?;
    let refine = refine.unwrap_or_else(|| Form::filled([("from", "filings".to_owned())]));
    let alloys = view::choices(&app.pool).await?;
    let fresh = view::least_fresh(&app.pool, id).await?;
    let there = format!("{:.2}", alloy.refiner as f64 / 100.0);
    let back = Form::filled([("settled", there), ("into", id.to_string())]);
    Ok(ShowAlloy { frame: signed.frame.clone(), alloy, lots, count, refine, back, alloys, fresh })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<AlloyId>,
) -> Result<ShowAlloy, Fault> {
    page(&app, &signed, id, Form::default(), None).await
}

pub(crate) async fn count(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<AlloyId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(take) = CountForm::read(&mut form) else {
        let page = page(&app, &signed, id, form, None).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    if form.ticked("again") {
        return Ok(page(&app, &signed, id, form, None).await?.into_response());
    }
    let held = view::held(&app.pool, None, Some(id)).await?.pop().ok_or(Fault::NotFound)?;
    let place = format!("{}/count", OfAlloy(id));
    if let Some(ask) = asks(&app, &signed, &form, place, weighed(&take, id, &held)).await? {
        return Ok(ask.into_response());
    }
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let batch = actions::count(conn, &signed, id, &take.counted, &take.note).await?;
            Ok(EntryPage(batch))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, form, None)).await
}

pub(crate) async fn refine(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<AlloyId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(sent) = RefineForm::read(&mut form) else {
        let page = page(&app, &signed, id, Form::default(), Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let batch = actions::refine(conn, &signed, id, &sent)
                .await
                .map_err(|fault| fault.at("sent"))?;
            Ok(EntryPage(batch))
        })
        .await?;
    ended.or_show(page(&app, &signed, id, Form::default(), Some(form))).await
}

pub(crate) async fn refined(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<AlloyId>,
    mut form: Form,
) -> Result<Response, Fault> {
    let read = RefinedForm::read(&mut form);
    let Some(back) = read else {
        let mut page = page(&app, &signed, id, Form::default(), None).await?;
        page.back = form;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let batch = actions::refined(conn, &signed, id, &back).await?;
            Ok(EntryPage(batch))
        })
        .await?;
    ended
        .or_show(async {
            let page = page(&app, &signed, id, Form::default(), None).await?;
            Ok(ShowAlloy { back: form, ..page })
        })
        .await
}
