//! A step recorded from Now leads back to Now.

use axum::extract::Request;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

/// What the forms of Now add to the address they post to.
pub(super) const BACK: &str = "back=now";

/// Leads a form that came from Now back there once it is done. A refusal is shown where
/// the thing itself is shown, with how it stands.
pub async fn lead_back(request: Request, next: Next) -> Response {
    let wanted = request.method() == Method::POST && request.uri().query() == Some(BACK);
    let path = request.uri().path().to_owned();
    let mut response = next.run(request).await;
    let leads_on = response.status() == StatusCode::SEE_OTHER;
    let signed_out = response
        .headers()
        .get(header::LOCATION)
        .is_some_and(|place| place.as_bytes().starts_with(b"/sign-in"));
    if wanted && leads_on && !signed_out {
        let did = path.rsplit_once('/').map_or("", |(thing, _)| thing);
        if let Ok(place) = HeaderValue::from_str(&format!("/now?did={did}")) {
            response.headers_mut().insert(header::LOCATION, place);
        }
    }
    response
}
