//! What is recorded from a piece's own page: a note, a failure, a correction, an end.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use sqlx::PgConnection;

use super::show::{Compared, page, step};
use crate::finishing;
use crate::people::{Owner, Signed};
use crate::pieces::{self, Act, Happening, LockedPiece, Stage};
use crate::web::{App, Fault, Form, Refused};

/// Holds the piece, if nothing happened to it since the person looked.
async fn hold(conn: &mut PgConnection, label: &str, seen: i64) -> Result<LockedPiece, Fault> {
    let piece = pieces::lock_by_label(conn, label).await?;
    piece.seen(seen).map_err(Refused::from)?;
    Ok(piece)
}

pub(crate) async fn note(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let text = form.needed("note", 2000);
    if !form.good() {
        let page = page(&app, &signed, &label, &Compared::default(), form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    step(&app, &signed, &label, form, async |conn, _| {
        // A note is true whatever happened meanwhile, so it is never stale.
        let piece = pieces::lock_by_label(conn, &label).await?;
        let act = Act::new(signed.now, Some(signed.person)).noting(&text);
        pieces::record(conn, &[piece.id], &Happening::Noted, &act).await?;
        Ok(())
    })
    .await
}

pub(crate) async fn failed(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let cause = form.line("cause", 200);
    if cause.is_empty() {
        form.wrong("cause", "Say what it looks like; the next attempt learns from it.");
    }
    let text = form.text("failure_note", 2000);
    let stage: Option<Stage> = form.value("stage").parse().ok();
    let (Some(stage), true) = (stage, form.good()) else {
        let page = page(&app, &signed, &label, &Compared::default(), form).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    step(&app, &signed, &label, form, async |conn, seen| {
        let held = hold(conn, &label, seen).await?;
        let act = Act::new(signed.now, Some(signed.person)).noting(&text);
        let happening = Happening::Failed(stage, cause.clone());
        if stage == Stage::Finish {
            finishing::scrap(conn, &held, signed.now, Some(signed.person)).await?;
        }
        pieces::record(conn, &[held.id], &happening, &act).await?;
        Ok(())
    })
    .await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, &label, form, async |conn, seen| {
        let held = hold(conn, &label, seen).await?;
        let act = Act::new(signed.now, Some(signed.person));
        let undone = pieces::undo(conn, held.id, seen, &act).await?;
        finishing::take_back(conn, &held, undone.state, &signed).await?;
        Ok(())
    })
    .await
}

pub(crate) async fn cancel(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(label): Path<String>,
    form: Form,
) -> Result<Response, Fault> {
    step(&app, &signed, &label, form, async |conn, seen| {
        let held = hold(conn, &label, seen).await?;
        let act = Act::new(signed.now, Some(signed.person));
        pieces::record(conn, &[held.id], &Happening::Cancelled, &act).await?;
        Ok(())
    })
    .await
}
