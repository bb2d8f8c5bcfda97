//! Changes of this one order, for a client's page that is open.

use axum::extract::State;
use axum::response::{IntoResponse, Response};

use crate::portal::guest::Guest;
use crate::web::{App, stream};

pub(crate) async fn show(State(app): State<App>, guest: Guest) -> Response {
    let order = format!("orders:{}", guest.link.number);
    let pieces = format!("pieces:{}-", guest.link.number);
    stream(&app.live, move |topic| topic == order || topic.starts_with(&pieces)).into_response()
}
