//! A sheet of tickets, in the size of a bag, a flask's tag or a bench card.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use serde::Deserialize;

use crate::people::Signed;
use crate::tickets::view::{self, TicketRow};
use crate::tickets::{address, codes, qr};
use crate::web::{App, Fault, Frame, Html, percent};

/// A ticket with its code.
pub(crate) struct Printed {
    ticket: TicketRow,
    code: Option<Html>,
    address: String,
}

#[derive(Template, WebTemplate)]
#[template(path = "tickets/sheet.html")]
pub(crate) struct Sheet {
    frame: Frame,
    wanted: Wanted,
    tickets: Vec<Printed>,
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    of: String,
    #[serde(default)]
    size: String,
}

/// Sizes: the word in the address, what it is for, how large.
const SIZES: [(&str, &str, &str); 3] = [
    ("bag", "Bag label", "60 × 38 mm"),
    ("tag", "Flask tag", "50 × 25 mm"),
    ("card", "Bench card", "A6"),
];

/// Choices of what is open.
const OPEN: [(&str, &str); 5] = [
    ("open:pieces", "Pieces being made"),
    ("open:plates", "Plates"),
    ("open:cure", "Cure batches"),
    ("open:flasks", "Flasks"),
    ("open:loads", "Loads"),
];

impl Wanted {
    fn address(&self, of: &str, size: &str) -> String {
        format!("/tickets?of={}&size={}", percent(of), percent(size))
    }
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(mut wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Result<Sheet, Fault> {
    if wanted.of.is_empty() {
        wanted.of = OPEN[0].0.to_owned();
    }
    if !SIZES.iter().any(|(size, ..)| *size == wanted.size) {
        let tag = wanted.of.contains("flask");
        wanted.size = SIZES[usize::from(tag)].0.to_owned();
    }
    let rows = view::tickets(&app.pool, &wanted.of).await?;
    let subjects: Vec<String> = rows.iter().map(|row| row.subject.clone()).collect();
    let codes = codes(&app.pool, &subjects, signed.now).await?;
    let tickets = rows
        .into_iter()
        .map(|ticket| {
            let address = codes
                .get(&ticket.subject)
                .map(|code| address(&app, &headers, code))
                .unwrap_or_default();
            Printed { code: qr(&address), ticket, address }
        })
        .collect();
    Ok(Sheet { frame: signed.frame, wanted, tickets })
}
