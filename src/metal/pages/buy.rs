//! Bought metal.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::id::AlloyId;
use crate::metal::forms::BuyForm;
use crate::metal::{Buy, EntryPage, MetalPage, actions, view};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "metal/buy.html")]
pub(crate) struct BuyMetal {
    frame: Frame,
    alloys: Vec<(AlloyId, String)>,
    form: Form,
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    alloy: String,
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<BuyMetal, Fault> {
    let alloys = view::choices(&app.pool).await?;
    Ok(BuyMetal { frame: signed.frame.clone(), alloys, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<BuyMetal, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let form = Form::filled([("alloy", wanted.alloy), ("bought_on", today.to_string())]);
    page(&app, &signed, form).await
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let today = signed.now.day_in(&signed.frame.show.zone);
    let Some(bought) = BuyForm::read(&mut form, signed.frame.owner(), today) else {
        let page = page(&app, &signed, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let batch =
                actions::buy(conn, &signed, &bought).await.map_err(|fault| match fault {
                    Fault::Refused(refused) if refused.field.is_none() => refused.at("lot").into(),
                    fault => fault,
                })?;
            Ok(EntryPage(batch))
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
