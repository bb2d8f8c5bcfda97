//! All addresses, and what surrounds every request.

use std::time::Duration;

use axum::extract::DefaultBodyLimit;
use axum::extract::State;
use axum::http::{Method, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Router, middleware};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, NotForContentType, Predicate};
use tower_http::csrf::CsrfLayer;
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

use crate::people::Signed;
use crate::web::{App, Fault, guard, see_other, serve_asset, serve_worker, stream};

/// Forms are small; only the upload of models and photos is given more.
const FORM_BYTES: usize = 1 << 20;

/// The whole program as one service.
pub fn router(app: App) -> Router {
    let pages = Router::new()
        .merge(crate::desk::router())
        .merge(crate::now::router())
        .merge(crate::people::router())
        .merge(crate::timers::router())
        .merge(crate::clients::router())
        .merge(crate::printers::router())
        .merge(crate::steps::router())
        .merge(crate::findings::router())
        .merge(crate::trials::router())
        .merge(crate::plates::router())
        .merge(crate::catalogue::router())
        .merge(crate::settings::router())
        .merge(crate::presence::router())
        .merge(crate::prices::router())
        .merge(crate::metal::router())
        .merge(crate::flasks::router())
        .merge(crate::tariffs::router())
        .merge(crate::kilns::router())
        .merge(crate::kiln_loads::router())
        .merge(crate::pours::router())
        .merge(crate::plan::router())
        .merge(crate::promises::router())
        .merge(crate::yields::router())
        .merge(crate::files::router())
        .merge(crate::designs::router())
        .merge(crate::known::router())
        .merge(crate::tickets::router())
        .merge(crate::find::router())
        .merge(crate::route_cards::router())
        .merge(crate::rework::router())
        .merge(crate::estimates::router())
        .merge(crate::forecasts::router())
        .merge(crate::finishing::router())
        .merge(crate::orders::router())
        .merge(crate::quotes::router())
        .merge(crate::invoices::router())
        .merge(crate::letters::router())
        .merge(crate::exports::router())
        .merge(crate::api::router())
        .merge(crate::portal::router())
        .merge(crate::cure_batches::router())
        .route("/static/{*name}", get(serve_asset))
        // At the root, for a worker keeps only what lies below it.
        .route("/sw.js", get(serve_worker))
        .route("/healthy", get(healthy))
        .fallback(|| async { Fault::NotFound })
        .method_not_allowed_fallback(back)
        // A page that takes so long has met something that will not end.
        .layer(TimeoutLayer::with_status_code(
            StatusCode::SERVICE_UNAVAILABLE,
            Duration::from_secs(120),
        ))
        // A large model takes as long as the line is slow.
        .merge(crate::designs::uploads())
        .merge(crate::orders::uploads())
        .layer(
            CompressionLayer::new().compress_when(
                DefaultPredicate::new()
                    .and(NotForContentType::const_new("text/event-stream"))
                    .and(NotForContentType::const_new("font/")),
            ),
        );
    Router::new()
        .route("/live", get(live))
        .merge(pages)
        .layer(DefaultBodyLimit::max(FORM_BYTES))
        .layer(CsrfLayer::new())
        .layer(CatchPanicLayer::custom(|panic: Box<dyn std::any::Any + Send>| {
            let text = panic
                .downcast_ref::<&str>()
                .map(|text| (*text).to_owned())
                .or_else(|| panic.downcast_ref::<String>().cloned())
                .unwrap_or_default();
            Fault::Unforeseen(format!("panic: {text}").into()).into_response()
        }))
        .layer(middleware::from_fn(crate::now::lead_back))
        .layer(middleware::map_response(unreadable))
        .layer(middleware::from_fn(guard))
        .layer(TraceLayer::new_for_http())
        .with_state(app)
}

/// A step that was refused is shown at the step's own address. Asking for that address
/// again, as a reload does, leads to the page of the thing itself.
async fn back(method: Method, uri: Uri) -> Response {
    match uri.path().rsplit_once('/') {
        Some((above, _)) if method == Method::GET && !above.is_empty() => see_other(above),
        _ => StatusCode::METHOD_NOT_ALLOWED.into_response(),
    }
}

/// An address with letters where a number belongs, or with a question that cannot be read, leads
/// nowhere; axum says so in a bare line of its own.
async fn unreadable(response: Response) -> Response {
    let plain = response
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|kind| kind.as_bytes().starts_with(b"text/plain"));
    if response.status() == StatusCode::BAD_REQUEST && plain {
        Fault::NotFound.into_response()
    } else {
        response
    }
}

/// Changes in the studio, for pages that are open.
async fn live(State(app): State<App>, _signed: Signed) -> Response {
    stream(&app.live, |_| true).into_response()
}

/// For health checks: the program answers, and so does its database.
async fn healthy(State(app): State<App>) -> Result<&'static str, Fault> {
    sqlx::query("SELECT 1").execute(&app.pool).await?;
    Ok("healthy")
}
