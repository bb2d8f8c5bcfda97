//! What every page needs and no capability owns.

mod app;
mod asset;
mod chart;
mod fault;
mod form;
mod format;
mod frame;
mod headers;
mod html;
mod live;
mod once;
mod order;
mod paging;
mod working;

pub use app::App;
pub use asset::{asset, serve_asset, serve_worker};
pub use chart::{Charted, control_chart};
pub use fault::{Fault, Refused, SURE};
pub(crate) use form::percent;
pub use form::{Form, Input};
pub use format::{Plain, Show, Units};
pub use frame::{Frame, Who};
pub use headers::{client_address, guard};
pub use html::Html;
pub use live::{Live, Pace, stream};
pub use once::Ended;
pub use order::{Order, Term};
pub use paging::{Keyed, Listed, PageLinks, Paged, Seek, Turned};
pub use working::{working, working_of};

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// Leads the browser on after a form was dealt with.
#[must_use]
pub fn see_other(location: &str) -> Response {
    let place = HeaderValue::from_str(location).unwrap_or(HeaderValue::from_static("/"));
    (StatusCode::SEE_OTHER, [(header::LOCATION, place)]).into_response()
}
