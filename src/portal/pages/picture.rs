//! The picture of a line of this order.

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};

use crate::files;
use crate::orders;
use crate::portal::guest::{Guest, Turned};
use crate::web::App;

pub(crate) async fn show(
    State(app): State<App>,
    guest: Guest,
    Path((_, n)): Path<(String, i32)>,
    headers: HeaderMap,
) -> Result<Response, Turned> {
    let lines = orders::lines(&app.pool, guest.order.id).await?;
    let line = lines.into_iter().find(|line| line.n == n);
    let picture = line.and_then(|line| line.picture_id).ok_or(Turned::Away)?;
    let file = files::find(&app.pool, picture).await?;
    Ok(files::send(&app, &file, &headers, None).into_response())
}
