//! A price list pasted or read from a file: looked at first, noted afterwards, all of it or nothing.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::people::{Owner, Signed};
use crate::prices::forms::PriceForm;
use crate::prices::paste::{self, Against, Line};
use crate::prices::paths::Paste;
use crate::prices::{Prices, actions, view};
use crate::web::{App, Fault, Form, Frame, Html, Refused};

#[derive(Template, WebTemplate)]
#[template(path = "prices/paste.html")]
pub(crate) struct PastePage {
    frame: Frame,
    form: Form,
    lines: Vec<Line>,
}

impl PastePage {
    fn wrong(&self) -> usize {
        self.lines.iter().filter(|line| line.read.is_err()).count()
    }

    fn figure(&self, price: &PriceForm) -> Html {
        view::figure(&self.frame.show, price.kind, &price.item, &price.amount)
    }
}

async fn page(app: &App, signed: &Signed, form: Form) -> Result<PastePage, Fault> {
    let frame = signed.frame.clone();
    let today = signed.now.day_in(&frame.show.zone);
    let currency = &frame.show.units.currency;
    let items = view::items(&app.pool, today, currency).await?;
    let against = Against { items: &items, currency, today, correct: form.ticked("correct") };
    let lines = paste::read(form.value("list"), &against);
    Ok(PastePage { frame, form, lines })
}

pub(crate) async fn show(State(app): State<App>, Owner(signed): Owner) -> Result<PastePage, Fault> {
    page(&app, &signed, Form::default()).await
}

/// A list from a file is shown as if it had been pasted.
pub(crate) async fn file(
    State(app): State<App>,
    Owner(signed): Owner,
    mut parts: Multipart,
) -> Result<Response, Fault> {
    let mut form = Form::default();
    while let Ok(Some(part)) = parts.next_field().await {
        if part.name() != Some("file") {
            continue;
        }
        match part.bytes().await {
            Ok(bytes) => {
                let text = String::from_utf8_lossy(&bytes);
                form.set("list", text.trim_start_matches('\u{feff}'));
            }
            Err(_) => form.wrong(
                "list",
                "The file could not be read; it may be too large. Paste its lines instead.",
            ),
        }
    }
    if form.value("list").trim().is_empty() && form.good() {
        form.wrong("list", "Choose a file with one price a line, or paste the lines.");
    }
    let status = if form.good() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok((status, page(&app, &signed, form).await?).into_response())
}

pub(crate) async fn submit(
    State(app): State<App>,
    Owner(signed): Owner,
    mut form: Form,
) -> Result<Response, Fault> {
    if form.value("list").trim().is_empty() {
        form.wrong("list", "Paste one price a line.");
    }
    let go = form.ticked("go") && form.good();
    let status = if form.good() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let looked = page(&app, &signed, form).await?;
    if !go || looked.wrong() > 0 {
        let status = if go { StatusCode::UNPROCESSABLE_ENTITY } else { status };
        return Ok((status, looked).into_response());
    }
    let mut form = looked.form.clone();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            for line in &looked.lines {
                let Ok((name, price)) = &line.read else { continue };
                actions::note(conn, &signed, price).await.map_err(|fault| match fault {
                    Fault::Refused(Refused { status, message, .. }) => {
                        let message =
                            format!("Line {}, {name}: {message} Nothing was noted.", line.number);
                        Refused { status, message, field: None }.into()
                    }
                    fault => fault,
                })?;
            }
            Ok(Prices)
        })
        .await?;
    ended.or_show(page(&app, &signed, form)).await
}
