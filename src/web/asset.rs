//! Style sheets, scripts and fonts, carried in the program itself.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

struct Asset {
    name: &'static str,
    media_type: &'static str,
    bytes: &'static [u8],
}

macro_rules! assets {
    ($($name:literal => $media_type:literal),+ $(,)?) => {
        &[$(Asset {
            name: $name,
            media_type: $media_type,
            bytes: include_bytes!(concat!(env!("CARGO_MANIFEST_DIR"), "/static/", $name)),
        }),+]
    };
}

const ASSETS: &[Asset] = assets![
    "app.css" => "text/css; charset=utf-8",
    "models.css" => "text/css; charset=utf-8",
    "live.js" => "text/javascript; charset=utf-8",
    "clocks.js" => "text/javascript; charset=utf-8",
    "offline.js" => "text/javascript; charset=utf-8",
    "heat.js" => "text/javascript; charset=utf-8",
    "turn.js" => "text/javascript; charset=utf-8",
    "plan.js" => "text/javascript; charset=utf-8",
    "scan.js" => "text/javascript; charset=utf-8",
    "shade.js" => "text/javascript; charset=utf-8",
    "sprues.js" => "text/javascript; charset=utf-8",
    "surface.js" => "text/javascript; charset=utf-8",
    "viewer.js" => "text/javascript; charset=utf-8",
    "sw.js" => "text/javascript; charset=utf-8",
    "icon.svg" => "image/svg+xml",
    "fonts/atkinson-next-latin.woff2" => "font/woff2",
    "fonts/atkinson-next-latin-ext.woff2" => "font/woff2",
    "fonts/LICENSE-OFL.txt" => "text/plain; charset=utf-8",
];

const SHEET: &str = "app.css";

/// The style sheet with the marks of the fonts it names: a page asks for them ahead by the same
/// addresses, so each is fetched once.
static MARKED_SHEET: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let sheet =
        ASSETS.iter().find(|asset| asset.name == SHEET).map_or(&[][..], |sheet| sheet.bytes);
    let mut text = String::from_utf8_lossy(sheet).into_owned();
    for font in ASSETS.iter().filter(|asset| asset.media_type.starts_with("font/")) {
        let place = format!("/static/{}", font.name);
        text = text.replace(&place, &format!("{place}?{}", mark(font.bytes)));
    }
    text.into_bytes()
});

static MARKS: LazyLock<Vec<String>> =
    LazyLock::new(|| ASSETS.iter().map(|asset| mark(asset.sent())).collect());

fn mark(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().take(6).map(|byte| format!("{byte:02x}")).collect()
}

impl Asset {
    /// What is sent of it.
    fn sent(&self) -> &'static [u8] {
        if self.name == SHEET { &MARKED_SHEET } else { self.bytes }
    }
}

/// The address of a file by its name under `static/`, with a mark that changes
/// with its content so that browsers may keep it for ever.
#[must_use]
pub fn asset(name: &str) -> String {
    match ASSETS.iter().position(|asset| asset.name == name) {
        Some(n) => format!("/static/{name}?{}", MARKS[n]),
        None => format!("/static/{name}"),
    }
}

/// Sends a file; known to the browser by its mark, it is not sent again.
pub async fn serve_asset(Path(name): Path<String>, headers: HeaderMap) -> Response {
    let Some(n) = ASSETS.iter().position(|asset| asset.name == name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let tag = format!("\"{}\"", MARKS[n]);
    let known =
        headers.get(header::IF_NONE_MATCH).is_some_and(|seen| seen.as_bytes() == tag.as_bytes());
    let lasting = [
        (header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=31536000, immutable")),
        (header::ETAG, HeaderValue::from_str(&tag).unwrap_or(HeaderValue::from_static("\"\""))),
        (header::CONTENT_TYPE, HeaderValue::from_static(ASSETS[n].media_type)),
    ];
    if known {
        return (StatusCode::NOT_MODIFIED, lasting).into_response();
    }
    (lasting, ASSETS[n].sent()).into_response()
}

/// Sends the script that keeps the bench pages through a lost network. Browsers ask for it by
/// its bare name, so it is looked at anew each time.
pub async fn serve_worker(headers: HeaderMap) -> Response {
    let mut answer = serve_asset(Path("sw.js".to_owned()), headers).await;
    answer.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A font that is named otherwise in the sheet than in the page is fetched twice.
    #[test]
    fn the_sheet_names_fonts_as_pages_ask_for_them() {
        let sheet = ASSETS.iter().find(|asset| asset.name == SHEET).map(Asset::sent);
        let sheet = String::from_utf8_lossy(sheet.unwrap_or_default());
        let fonts = ASSETS.iter().filter(|asset| asset.media_type.starts_with("font/"));
        let mut found = 0;
        for font in fonts {
            assert!(sheet.contains(&format!("url(\"{}\")", asset(font.name))), "{}", font.name);
            found += 1;
        }
        assert_eq!(found, sheet.matches("/static/fonts/").count());
    }
}
