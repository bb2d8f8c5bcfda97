//! Photos of a piece: added, shown to the client, taken off.

use axum::body::Bytes;
use axum::extract::{Multipart, Path, State};
use axum::response::{IntoResponse, Response};
use sqlx::PgConnection;

use super::show::{Compared, page};
use crate::files;
use crate::id::{PhotoId, PieceId};
use crate::people::Signed;
use crate::pieces::{self, Stage};
use crate::route_cards::Piece;
use crate::route_cards::photos::{self, NewPhoto, PhotoRefusal};
use crate::web::{App, Fault, Form, Refused};

/// Reads the parts of the form; a photo that is too large ends the reading, and what was typed
/// before it is kept.
async fn read(mut parts: Multipart) -> (Form, Result<Vec<u8>, Refused>) {
    let (mut form, mut photo) = (Form::default(), Vec::new());
    loop {
        let (name, bytes) = match parts.next_field().await {
            Ok(None) => return (form, Ok(photo)),
            Ok(Some(part)) => (part.name().unwrap_or_default().to_owned(), part.bytes().await),
            Err(_) => (String::new(), Ok(Bytes::new())),
        };
        let Some(bytes) = bytes.ok().filter(|_| !name.is_empty()) else {
            let damaged = "The photo did not arrive whole, or is larger than 40 MB. Nothing was kept; send it again, smaller.";
            return (form, Err(Refused::input("photo", damaged)));
        };
        if name == "photo" {
            photo = bytes.to_vec();
        } else {
            form.put(&name, &String::from_utf8_lossy(&bytes));
        }
    }
}

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    parts: Multipart,
) -> Result<Response, Fault> {
    let (mut form, photo) = read(parts).await;
    let bytes = match photo {
        Ok(bytes) => bytes,
        Err(refused) => return refuse(&app, &signed, &label, form, &refused).await,
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
    form: Form,
) -> Result<Response, Fault> {
    let shared = form.value("shared") == "yes";
    at_piece(&app, &signed, &label, form, async |conn, piece| {
        photos::share(conn, piece, photo, shared).await
    })
    .await
}

pub(crate) async fn remove(
    State(app): State<App>,
    signed: Signed,
    Path((label, photo)): Path<(String, PhotoId)>,
    form: Form,
) -> Result<Response, Fault> {
    at_piece(&app, &signed, &label, form, async |conn, piece| {
        photos::remove(conn, piece, photo, signed.now).await
    })
    .await
}

pub(crate) async fn put_back(
    State(app): State<App>,
    signed: Signed,
    Path((label, photo)): Path<(String, PhotoId)>,
    form: Form,
) -> Result<Response, Fault> {
    at_piece(&app, &signed, &label, form, async |conn, piece| {
        photos::put_back(conn, piece, photo).await
    })
    .await
}

/// Changes a photo of a piece, and leads back to its photos.
async fn at_piece(
    app: &App,
    signed: &Signed,
    label: &str,
    mut form: Form,
    change: impl AsyncFnOnce(&mut PgConnection, PieceId) -> Result<(), sqlx::Error>,
) -> Result<Response, Fault> {
    form.act_once(&app.pool, signed.now, async |conn| {
        let piece = pieces::lock_by_label(conn, label).await?;
        change(conn, piece.id).await?;
        Ok(format!("{}#photos", Piece(label)))
    })
    .await?
    .led()
}
