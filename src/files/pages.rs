//! Sends files to people who are signed in.

use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::store::{self, StoredFile};
use crate::id::FileId;
use crate::people::Signed;
use crate::web::{App, Fault};

pub(super) async fn show(
    State(app): State<App>,
    _signed: Signed,
    Path(id): Path<FileId>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let file = store::find(&app.pool, id).await?;
    Ok(send(&app, &file, &headers, None))
}

/// Sends a file, or says that the browser has it already; with a name it is a download.
#[must_use]
pub fn send(app: &App, file: &StoredFile, headers: &HeaderMap, name: Option<&str>) -> Response {
    let tag = format!("\"{}\"", file.digest());
    let known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|seen| seen.to_str().ok())
        .is_some_and(|seen| seen.split(',').any(|one| one.trim().trim_start_matches("W/") == tag));
    // An id stands for one content for ever.
    let lasting = [
        (header::CACHE_CONTROL, HeaderValue::from_static("private, max-age=31536000, immutable")),
        (header::ETAG, HeaderValue::from_str(&tag).unwrap_or(HeaderValue::from_static("\"\""))),
    ];
    if known {
        return (StatusCode::NOT_MODIFIED, lasting).into_response();
    }
    // Only pictures are shown in place; whatever else people sent in is downloaded.
    let picture = matches!(file.media_type.as_str(), "image/png" | "image/jpeg" | "image/webp");
    let media_type = if picture { file.media_type.as_str() } else { "application/octet-stream" };
    let disposition = match (name, picture) {
        (None, true) => "inline".to_owned(),
        (None, false) => attachment(&file.name),
        (Some(name), _) => attachment(name),
    };
    let described = [
        (header::CONTENT_TYPE, value(media_type)),
        (header::CONTENT_LENGTH, HeaderValue::from(file.size_bytes)),
        (header::CONTENT_DISPOSITION, value(&disposition)),
    ];
    let body = Body::from_stream(store::content(app.pool.clone(), file.id));
    (lasting, described, body).into_response()
}

/// RFC 6266 with the name in RFC 5987's encoding, so that any name survives.
fn attachment(name: &str) -> String {
    let encoded =
        percent_encoding::utf8_percent_encode(name, percent_encoding::NON_ALPHANUMERIC).to_string();
    format!("attachment; filename*=UTF-8''{encoded}")
}

fn value(text: &str) -> HeaderValue {
    HeaderValue::from_str(text).unwrap_or(HeaderValue::from_static(""))
}
