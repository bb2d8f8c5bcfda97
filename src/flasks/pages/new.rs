//! A new flask: which cylinder, which metal, which pieces.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::flasks::actions;
use crate::flasks::forms::NewFlask;
use crate::flasks::view::{self, Choices, WaitingAlloy, WaitingPiece};
use crate::id::{AlloyId, PieceId};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "flasks/new.html")]
pub(crate) struct NewFlaskPage {
    frame: Frame,
    form: Form,
    alloys: Vec<WaitingAlloy>,
    alloy: Option<AlloyId>,
    pieces: Vec<WaitingPiece>,
    choices: Choices,
}

impl NewFlaskPage {
    fn is_chosen(&self, alloy: &AlloyId) -> bool {
        self.alloy == Some(*alloy)
    }

    fn ticked(&self, piece: &PieceId) -> bool {
        self.form.all("piece").any(|id| id == piece.to_string())
    }
}

#[derive(Deserialize)]
pub(crate) struct Wanted {
    alloy: Option<AlloyId>,
    /// Ticked already, as a scanned ticket asks for.
    piece: Option<PieceId>,
}

async fn page(
    app: &App,
    signed: &Signed,
    alloy: Option<AlloyId>,
    form: Option<Form>,
) -> Result<NewFlaskPage, Fault> {
    let alloys = view::waiting_alloys(&app.pool).await?;
    let chosen = alloys.iter().find(|one| alloy.is_none_or(|id| id == one.id));
    let form = form.unwrap_or_else(|| {
        Form::filled([("flask_c", chosen.map(|one| one.flask_c.to_string()).unwrap_or_default())])
    });
    let alloy = chosen.map(|one| one.id);
    let pieces = match alloy {
        Some(alloy) => view::waiting_pieces(&app.pool, alloy).await?,
        None => Vec::new(),
    };
    let choices = view::choices(&app.pool, signed.now).await?;
    Ok(NewFlaskPage { frame: signed.frame.clone(), form, alloys, alloy, pieces, choices })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(wanted): Query<Wanted>,
) -> Result<NewFlaskPage, Fault> {
    let mut page = page(&app, &signed, wanted.alloy, None).await?;
    if let Some(piece) = wanted.piece {
        page.form.put("piece", &piece.to_string());
    }
    Ok(page)
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    let alloy = form.value("alloy").parse().ok();
    let Some(flask) = NewFlask::read(&mut form) else {
        let page = page(&app, &signed, alloy, Some(form)).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let number = actions::begin(conn, &signed, &flask).await?;
            Ok(format!("/flasks/{number}"))
        })
        .await?;
    ended.or_show(page(&app, &signed, alloy, Some(form))).await
}
