//! The QR code of an address (ISO/IEC 18004), drawn as one path.

use axum::http::{HeaderMap, header};

use super::code::Code;
use crate::web::{App, Html};

/// The full address of a ticket, as this studio is reached. In capitals: scheme and host mean
/// the same (RFC 3986, section 6.2.2.1), and the code's alphanumeric mode needs five and a
/// half bits a character instead of eight.
#[must_use]
pub fn address(app: &App, headers: &HeaderMap, code: &Code) -> String {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    let scheme = if app.secure_cookies { "https" } else { "http" };
    format!("{scheme}://{host}/t/{code}").to_ascii_uppercase()
}

/// A QR code as one SVG path of black squares; none when the text is too long for one.
#[must_use]
pub fn qr(text: &str) -> Option<Html> {
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
        "<svg class=\"qr\" viewBox=\"0 0 {side} {side}\" role=\"img\" aria-label=\"Code that leads to its page\" shape-rendering=\"crispEdges\"><rect width=\"{side}\" height=\"{side}\" fill=\"#fff\"/><path d=\"{path}\" fill=\"#000\"/></svg>"
    )))
}

/// The black squares of a QR code, row by row, without the white around it.
#[must_use]
pub fn modules(text: &str) -> Option<Vec<Vec<bool>>> {
    let code = qrcode::QrCode::with_error_correction_level(text, qrcode::EcLevel::M).ok()?;
    let colors = code.to_colors();
    let dark = |color: &qrcode::Color| *color == qrcode::Color::Dark;
    Some(colors.chunks(code.width()).map(|row| row.iter().map(dark).collect()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_has_its_three_finders_and_a_quiet_zone() {
        let svg = qr("HTTP://STUDIO.TEST/T/7K3M9QXA").unwrap();
        assert!(svg.as_str().contains("M4 4h1v1h-1z"), "the top left finder");
        assert!(!svg.as_str().contains("M3 "), "nothing in the quiet zone");
        // 29 characters of the alphanumeric mode fit version 2, 25 modules wide, at level M
        // (ISO/IEC 18004:2015, table 7: 38 characters).
        assert!(svg.as_str().contains("viewBox=\"0 0 33 33\""));
        assert_eq!(qr(&"x".repeat(5000)), None);
    }
}
