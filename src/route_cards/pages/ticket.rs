//! The ticket that goes along with a piece: black ink, with a code that leads to its next step.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use crate::paper::{self, Block, Paper};
use crate::people::Signed;
use crate::pieces::RouteCard;
use crate::route_cards::Piece;
use crate::route_cards::view::{self, Details};
use crate::tickets;
use crate::web::{App, Fault, Frame, Html};

#[derive(Template, WebTemplate)]
#[template(path = "route_cards/ticket.html")]
pub(crate) struct PieceTicket {
    frame: Frame,
    card: RouteCard,
    details: Details,
    address: String,
    code: Option<Html>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    headers: HeaderMap,
) -> Result<PieceTicket, Fault> {
    let card = view::card(&app.pool, &label).await?;
    let details = view::details(&app.pool, card.piece).await?;
    let subject = format!("piece:{}", card.label);
    let codes = tickets::codes(&app.pool, std::slice::from_ref(&subject), signed.now).await?;
    let address =
        codes.get(&subject).map(|code| tickets::address(&app, &headers, code)).unwrap_or_default();
    let code = tickets::qr(&address);
    Ok(PieceTicket { frame: signed.frame, card, details, address, code })
}

/// The same as PDF, in the design of the studio's papers.
pub(crate) async fn pdf(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let card = view::card(&app.pool, &label).await?;
    let details = view::details(&app.pool, card.piece).await?;
    let subject = format!("piece:{}", card.label);
    let codes = tickets::codes(&app.pool, std::slice::from_ref(&subject), signed.now).await?;
    let address =
        codes.get(&subject).map(|code| tickets::address(&app, &headers, code)).unwrap_or_default();
    let show = &signed.frame.show;
    let mm = |length| show.mm(length).plain_text();
    let mut facts = vec![
        (
            "Piece",
            format!(
                "{} of {} of order {}, attempt {}",
                details.n, details.of, card.order_number, card.attempt_n
            ),
        ),
        (
            "Design",
            format!("{}, {} version {}", card.design, card.design_number, details.version_n),
        ),
        ("Alloy", card.alloy.clone()),
        ("For", format!("{}, {}", card.client, card.order_title)),
        (
            "Model",
            format!(
                "{} × {} × {}",
                mm(details.box_x_mm),
                mm(details.box_y_mm),
                mm(details.box_z_mm)
            ),
        ),
    ];
    if let Some(due) = card.due_on {
        facts.push(("Due", show.day_text(due)));
    }
    if !details.line_note.is_empty() {
        facts.push(("Note", details.line_note.clone()));
    }
    if !details.order_note.is_empty() {
        facts.push(("Order", details.order_note.clone()));
    }
    let boxes = card
        .boxes
        .iter()
        .map(|stage| {
            let done = match stage.at {
                Some(at) if stage.state.word() == "done" => show.stamp(at),
                _ => String::new(),
            };
            (stage.stage.title().to_owned(), done)
        })
        .collect();
    let facts = facts.into_iter().map(|(name, fact)| (name.to_owned(), fact)).collect();
    let mut blocks = vec![Block::Facts(facts), Block::Route(boxes)];
    if let Some(modules) = tickets::modules(&address) {
        blocks.push(Block::Code { modules, words: address });
    }
    let paper = Paper {
        size: paper::size_of(&app.pool).await?,
        studio: signed.frame.studio.clone(),
        title: format!("Ticket {}", card.label),
        blocks,
    };
    let bytes = paper::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    Ok(paper::answer(&format!("ticket-{}.pdf", card.label), bytes))
}
