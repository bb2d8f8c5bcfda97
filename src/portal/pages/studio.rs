//! The studio's side: which clients wait for an answer, and the answers.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::orders::{self, Order, OrderRow, Orders};
use crate::people::Signed;
use crate::portal::questions::{self, Said, Waiting};
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "portal/waiting.html")]
pub(crate) struct WaitingPage {
    frame: Frame,
    waiting: Vec<Waiting>,
}

pub(crate) async fn waiting(State(app): State<App>, signed: Signed) -> Result<WaitingPage, Fault> {
    Ok(WaitingPage { waiting: questions::waiting(&app.pool).await?, frame: signed.frame })
}

#[derive(Template, WebTemplate)]
#[template(path = "portal/thread.html")]
pub(crate) struct Thread {
    frame: Frame,
    order: OrderRow,
    said: Vec<Said>,
    form: Form,
}

impl Thread {
    /// Whether something waits for an answer.
    fn waits(&self) -> bool {
        self.said.iter().any(|each| each.open)
    }
}

async fn page(app: &App, signed: &Signed, number: i32, form: Form) -> Result<Thread, Fault> {
    let order = orders::load(&app.pool, number).await?;
    let said = questions::of_order(&app.pool, order.id).await?;
    Ok(Thread { frame: signed.frame.clone(), order, said, form })
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<Thread, Fault> {
    page(&app, &signed, number, Form::default()).await
}

pub(crate) async fn answer(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let words = form.needed("answer", 4000);
    if !form.good() {
        let page = page(&app, &signed, number, form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    form.act_once(&app.pool, signed.now, async |conn| {
        let order = orders::lock(conn, number).await?;
        questions::say(conn, order.id, &words, Some(signed.person), signed.now).await?;
        Ok(format!("/orders/{number}/questions"))
    })
    .await?
    .led()
}

/// For questions that were answered in another way.
pub(crate) async fn settle(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        let order = orders::lock(conn, number).await?;
        questions::settle(conn, order.id, signed.now).await?;
        Ok(format!("/orders/{number}/questions"))
    })
    .await?
    .led()
}
