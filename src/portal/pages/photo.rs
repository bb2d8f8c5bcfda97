//! A picture of a piece of this order, if the studio chose to share it.

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};

use crate::files;
use crate::id::PhotoId;
use crate::portal::guest::{Guest, Turned};
use crate::portal::view;
use crate::web::App;

pub(crate) async fn show(
    State(app): State<App>,
    guest: Guest,
    Path((_, photo)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Turned> {
    let photo: PhotoId = photo.parse().map_err(|_| Turned::Away)?;
    let shared = view::shared_photo(&app.pool, guest.order.id, photo).await?;
    let file = files::find(&app.pool, shared.ok_or(Turned::Away)?).await?;
    Ok(files::send(&app, &file, &headers, None).into_response())
}
