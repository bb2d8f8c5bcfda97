//! Photos of a piece: added, shown to the client, taken off.

use axum::extract::{Multipart, Path, State};
use axum::response::{IntoResponse, Response};

use super::show::{Compared, page};
use crate::files;
use crate::id::PhotoId;
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::route_cards::Piece;
use crate::route_cards::photos::{self, NewPhoto, PhotoRefusal};
use crate::web::{App, Fault, Form, Refused};

/// Reads the parts of the form; a photo that is too large ends the reading.
async fn read(mut parts: Multipart) -> Result<(Form, Vec<u8>), Fault> {
    let damaged = |_| {
        Refused::input(
            "photo",
            "The photo did not arrive whole, or is larger than 15 MB. Nothing was kept; send it again, smaller.",
        )
    };
    let (mut form, mut photo) = (Form::default(), Vec::new());
    while let Some(part) = parts.next_field().await.map_err(damaged)? {
        let name = part.name().unwrap_or_default().to_owned();
        let bytes = part.bytes().await.map_err(damaged)?;
        if name == "photo" {
            photo = bytes.to_vec();
        } else {
            form.put(&name, &String::from_utf8_lossy(&bytes));
        }
    }
    Ok((form, photo))
}

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    parts: Multipart,
) -> Result<Response, Fault> {
    let (mut form, bytes) = match read(parts).await {
        Ok(read) => read,
        Err(Fault::Refused(refused)) => {
            return refuse(&app, &signed, &label, Form::default(), &refused).await;
        }
        Err(fault) => return Err(fault),
    };
    let caption = form.line("caption", 200);
    let told: Option<Stage> = form.value("stage").parse().ok();
    // Opening a photo takes a while; other requests go on meanwhile.
    let taken = tokio::task::spawn_blocking(move || photos::take(&bytes))
        .await
        .unwrap_or(Err(PhotoRefusal::Unreadable));
    let small = match taken {
        Ok(small) if form.good() => small,
        Ok(_) => {
            let refused = Refused::input("caption", "The caption is too long.");
            return refuse(&app, &signed, &label, form, &refused).await;
        }
        Err(refusal) => {
            let refused = Refused::input("photo", refusal.to_string());
            return refuse(&app, &signed, &label, form, &refused).await;
        }
    };
    form.act_once(&app.pool, signed.now, async |conn| {
        let piece = pieces::lock_by_label(conn, &label).await?;
        let name = format!("{label}.jpg");
        let file = files::put(conn, &small, &name, "image/jpeg", signed.now).await?;
        let photo = NewPhoto {
            piece: piece.id,
            file,
            stage: told.unwrap_or(piece.state().stage),
            caption: &caption,
        };
        photos::insert(conn, &photo, signed.now, signed.person).await?;
        Ok(Piece(&label))
    })
    .await?
    .led()
}

async fn refuse(
    app: &App,
    signed: &Signed,
    label: &str,
    mut form: Form,
    refused: &Refused,
) -> Result<Response, Fault> {
    form.refuse(refused);
    let page = page(app, signed, label, &Compared::default(), form).await?;
    Ok((refused.status, page).into_response())
}

pub(crate) async fn share(
    State(app): State<App>,
    signed: Signed,
    Path((label, photo)): Path<(String, PhotoId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    let shared = form.value("shared") == "yes";
    form.act_once(&app.pool, signed.now, async |conn| {
        let piece = pieces::lock_by_label(conn, &label).await?;
        photos::share(conn, piece.id, photo, shared).await?;
        Ok(Piece(&label))
    })
    .await?
    .led()
}

pub(crate) async fn remove(
    State(app): State<App>,
    signed: Signed,
    Path((label, photo)): Path<(String, PhotoId)>,
    mut form: Form,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        let piece = pieces::lock_by_label(conn, &label).await?;
        photos::remove(conn, piece.id, photo).await?;
        Ok(Piece(&label))
    })
    .await?
    .led()
}
