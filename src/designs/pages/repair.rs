//! Repairs a version as far as that is safe, as a new version; the file stays as it came.

use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::response::Response;
use foundry::mesh::{self, Limits, RepairOptions, Unit, repair, write};

use super::show::{Forms, page};
use crate::designs::intake::Taken;
use crate::designs::{Design, actions, reading, view};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Refused};
use crate::{files, jobs};

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path((number, n)): Path<(i32, i32)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let version = view::version_file(&app.pool, number, n).await?;
    let unit = version.unit.as_deref().and_then(Unit::from_name);
    let bytes = files::read(&app.pool, version.file_id).await?;
    let (from, largest) = (version.file_name.clone(), app.largest_model);
    // Beside the threads that answer requests, as every reading of a model.
    let repaired = jobs::aside(move || repaired(&bytes, &from, unit, largest))
        .await
        .map_err(|broken| Fault::Unforeseen(broken.into()))?;
    let read = match repaired {
        Err(why) => Err(why),
        Ok(bytes) => {
            let name = repaired_name(&version.file_name);
            let millimetres = Some(Unit::Millimetre);
            let bytes = Bytes::from(bytes);
            let reading =
                reading::take(bytes.clone(), name.clone(), app.largest_model, millimetres).await?;
            reading.map(|reading| (bytes, name, reading))
        }
    };
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let (bytes, name, reading) = read.map_err(Refused::conflict)?;
            if !reading.closed {
                return Err(Refused::conflict(STILL_OPEN).into());
            }
            let media_type = "application/octet-stream";
            let file = files::put(conn, &bytes, &name, media_type, signed.now).await?;
            let picture = format!("{name}.png");
            let png = &reading.picture_png;
            let picture = files::put(conn, png, &picture, "image/png", signed.now).await?;
            let taken = Taken { name, file, picture, reading };
            actions::add_version(conn, &signed, number, &taken).await?;
            Ok(Design(number))
        })
        .await?;
    let forms = Forms { repair: form, ..Forms::default() };
    ended.or_show(page(&app, &signed, number, Some(n), forms)).await
}

const STILL_OPEN: &str = "The surface stays open: the repair closes nearly flat holes of up to 5 mm and welds points that all but touch, and there is more amiss. Close it in the drawing program and add that as a new version. Nothing was changed here.";

/// The repaired model as a file in millimetres; the error is a sentence for the person who asked.
fn repaired(
    bytes: &[u8],
    name: &str,
    unit: Option<Unit>,
    largest: usize,
) -> Result<Vec<u8>, String> {
    let Some(unit) = unit else {
        return Err(
            "Say first in which unit the model is drawn; what is repaired follows from its size."
                .to_owned(),
        );
    };
    let limits = Limits { file_bytes: largest, ..Limits::default() };
    let model = mesh::read_within(bytes, name, &limits).map_err(|why| why.to_string())?;
    let in_unit = model.in_millimetres(unit).map_err(|why| why.to_string())?;
    let done = repair(&in_unit, &RepairOptions::default());
    if done.changes.is_empty() {
        return Err("There is nothing that can be repaired safely. Put it right in the drawing program and add that as a new version.".to_owned());
    }
    write::stl_binary(&done.mesh, name).map_err(|why| why.to_string())
}

/// `ring.3mf` becomes `ring repaired.stl`.
fn repaired_name(from: &str) -> String {
    let stem = from.rsplit_once('.').map_or(from, |(stem, _)| stem);
    format!("{stem} repaired.stl")
}
