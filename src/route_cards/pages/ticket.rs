//! The ticket that goes along with a piece: black ink, with a code that leads to its next step.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::HeaderMap;

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
