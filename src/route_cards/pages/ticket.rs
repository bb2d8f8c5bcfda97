//! The ticket that goes along with a piece: black ink, with a code that leads to its page.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, header};

use crate::people::Signed;
use crate::pieces::RouteCard;
use crate::route_cards::Piece;
use crate::route_cards::view::{self, Details};
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
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    let scheme = if app.secure_cookies { "https" } else { "http" };
    let path = Piece(&card.label).to_string();
    let address = if host.is_empty() { path } else { format!("{scheme}://{host}{path}") };
    let code = qr(&address);
    Ok(PieceTicket { frame: signed.frame, card, details, address, code })
}

/// A QR code as one SVG path of black squares; none when the text is too long for one.
fn qr(text: &str) -> Option<Html> {
    let code = qrcode::QrCode::with_error_correction_level(text, qrcode::EcLevel::M).ok()?;
    let width = code.width();
    let mut path = String::new();
    for (n, color) in code.to_colors().into_iter().enumerate() {
        if color == qrcode::Color::Dark {
            path.push_str(&format!("M{} {}h1v1h-1z", n % width + 4, n / width + 4));
        }
    }
    // Four modules of white around it, as ISO/IEC 18004 asks for.
    let side = width + 8;
    Some(Html::trusted(format!(
        "<svg class=\"qr\" viewBox=\"0 0 {side} {side}\" role=\"img\" aria-label=\"Code that leads to this piece's page\" shape-rendering=\"crispEdges\"><rect width=\"{side}\" height=\"{side}\" fill=\"#fff\"/><path d=\"{path}\" fill=\"#000\"/></svg>"
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_has_its_three_finders_and_a_quiet_zone() {
        let svg = qr("http://studio.test/pieces/1042-3").unwrap();
        assert!(svg.as_str().contains("M4 4h1v1h-1z"), "the top left finder");
        assert!(!svg.as_str().contains("M3 "), "nothing in the quiet zone");
        assert_eq!(qr(&"x".repeat(5000)), None);
    }
}
