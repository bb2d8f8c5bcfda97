//! Pictures of a piece's model from several sides, to point at.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use foundry::mesh::render::{RenderOptions, View, render};
use foundry::mesh::{self, Limits, Unit};
use tokio::sync::Semaphore;

use crate::files;
use crate::id::FileId;
use crate::people::Signed;
use crate::web::{App, Fault};

/// From where a piece is looked at: the word in addresses and in the database, and for people.
pub(super) const LOOKS: [(&str, &str); 6] = [
    ("corner", "from the corner"),
    ("front", "from the front"),
    ("right", "from the right"),
    ("back", "from the back"),
    ("left", "from the left"),
    ("top", "from above"),
];

/// Width and height at which a picture is shown; a click is told in these pixels.
pub(super) const SHOWN_PIXELS: u32 = 300;

fn view_of(look: &str) -> Option<View> {
    let from = |azimuth_deg| View::From { azimuth_deg, elevation_deg: 0.0 };
    Some(match look {
        "corner" => View::ThreeQuarter,
        "front" => View::Front,
        "right" => View::Side,
        "back" => from(90.0),
        "left" => from(180.0),
        "top" => View::Top,
        _ => return None,
    })
}

/// Drawing a large model takes a core for a second; more at a time would leave none for pages.
static DRAWING: Semaphore = Semaphore::const_new(1);

type Drawn = ((FileId, String), Arc<Vec<u8>>);

/// The pictures drawn last: a page asks for six of one model, on several devices.
static KEPT: Mutex<VecDeque<Drawn>> = Mutex::new(VecDeque::new());
const KEPT_MOST: usize = 48;

fn kept(key: &(FileId, String)) -> Option<Arc<Vec<u8>>> {
    let kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    kept.iter().find(|(of, _)| of == key).map(|(_, png)| Arc::clone(png))
}

fn keep(key: (FileId, String), png: Arc<Vec<u8>>) {
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    kept.push_back((key, png));
    while kept.len() > KEPT_MOST {
        kept.pop_front();
    }
}

/// A picture of the model of a piece; not there when the model cannot be read.
pub(super) async fn picture(
    State(app): State<App>,
    _signed: Signed,
    Path((label, look)): Path<(String, String)>,
) -> Result<Response, Fault> {
    let view = view_of(&look).ok_or(Fault::NotFound)?;
    let (file, name): (FileId, String) = sqlx::query_as(
        "SELECT v.file_id, v.file_name FROM pieces p JOIN order_lines l ON l.id = p.order_line_id
         JOIN design_versions v ON v.id = l.design_version_id WHERE p.label = $1",
    )
    .bind(&label)
    .fetch_one(&app.pool)
    .await?;
    let key = (file, look);
    let png = match kept(&key) {
        Some(png) => png,
        None => {
            let _turn =
                DRAWING.acquire().await.map_err(|closed| Fault::Unforeseen(closed.into()))?;
            let bytes = files::read(&app.pool, file).await?;
            let largest = app.largest_model;
            let drawn = tokio::task::spawn_blocking(move || draw(&bytes, &name, largest, view))
                .await
                .map_err(|broken| Fault::Unforeseen(broken.into()))?;
            let png = Arc::new(drawn.ok_or(Fault::NotFound)?);
            keep(key, Arc::clone(&png));
            png
        }
    };
    let headers =
        [(header::CONTENT_TYPE, "image/png"), (header::CACHE_CONTROL, "private, max-age=86400")];
    Ok((headers, png.as_ref().clone()).into_response())
}

fn draw(bytes: &[u8], name: &str, largest: usize, view: View) -> Option<Vec<u8>> {
    let limits = Limits { file_bytes: largest, ..Limits::default() };
    let model = mesh::read_within(bytes, name, &limits).ok()?;
    // The unit does not show in a picture that the model fills.
    let shape = model.in_millimetres(Unit::Millimetre).ok()?;
    let pixels = SHOWN_PIXELS * 2;
    let options = RenderOptions { width: pixels, height: pixels, view, ..RenderOptions::default() };
    Some(render(&shape, &options).png())
}
