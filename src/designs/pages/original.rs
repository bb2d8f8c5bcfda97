//! The file of a version, as it came.

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use crate::designs::view;
use crate::files;
use crate::people::Signed;
use crate::web::{App, Fault};

pub(crate) async fn show(
    State(app): State<App>,
    _signed: Signed,
    Path((number, n)): Path<(i32, i32)>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let version = view::version_file(&app.pool, number, n).await?;
    let file = files::find(&app.pool, version.file_id).await?;
    Ok(files::send(&app, &file, &headers, Some(&version.file_name)))
}
