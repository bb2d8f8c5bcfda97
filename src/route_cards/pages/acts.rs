//! What is recorded from a piece's own page: a note, a failure, a correction, an end.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{Compared, answer, page};
use crate::db::once::{self, Begun, Work};
use crate::finishing;
use crate::people::{Owner, Signed};
use crate::pieces::{self, Act, Happening, LockedPiece, Stage};
use crate::web::{App, Fault, Form, Refused, see_other};

/// Holds the piece, if nothing happened to it since the person looked.
async fn hold(work: &mut Work, label: &str, seen: i64) -> Result<LockedPiece, Fault> {
    let piece = pieces::lock_by_label(&mut work.tx, label).await?;
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
        let page = page(&app, &signed, &label, &Compared::default(), Some((form, None))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = async {
        // A note is true whatever happened meanwhile, so it is never stale.
        let piece = pieces::lock_by_label(&mut work.tx, &label).await?;
        let act = Act::new(signed.now, Some(signed.person)).noting(&text);
        pieces::record(&mut work.tx, &[piece.id], &Happening::Noted, &act).await?;
        Ok(())
    }
    .await;
    answer(&app, &signed, &label, form, work, done).await
}

pub(crate) async fn failed(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let cause = form.line("cause", 200);
    if cause.is_empty() {
        form.wrong("cause", "Say what it looks like; the next attempt learns from it.");
    }
    let text = form.text("failure_note", 2000);
    let stage: Option<Stage> = form.value("stage").parse().ok();
    let (Some(stage), true) = (stage, form.good()) else {
        let page = page(&app, &signed, &label, &Compared::default(), Some((form, None))).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let done = async {
        let held = hold(&mut work, &label, seen).await?;
        let act = Act::new(signed.now, Some(signed.person)).noting(&text);
        let happening = Happening::Failed(stage, cause.clone());
        if stage == Stage::Finish {
            finishing::scrap(&mut work.tx, &held, signed.now, Some(signed.person)).await?;
        }
        pieces::record(&mut work.tx, &[held.id], &happening, &act).await?;
        Ok(())
    }
    .await;
    answer(&app, &signed, &label, form, work, done).await
}

pub(crate) async fn take_back(
    State(app): State<App>,
    signed: Signed,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = async {
        let held = hold(&mut work, &label, seen).await?;
        let act = Act::new(signed.now, Some(signed.person));
        let undone = pieces::undo(&mut work.tx, held.id, seen, &act).await?;
        finishing::take_back(&mut work.tx, &held, undone.state, &signed).await?;
        Ok(())
    }
    .await;
    answer(&app, &signed, &label, Form::default(), work, done).await
}

pub(crate) async fn cancel(
    State(app): State<App>,
    Owner(signed): Owner,
    Path(label): Path<String>,
    mut form: Form,
) -> Result<Response, Fault> {
    let mut work = match once::begin(&app.pool, form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let seen = form.version();
    let done = async {
        let held = hold(&mut work, &label, seen).await?;
        let act = Act::new(signed.now, Some(signed.person));
        pieces::record(&mut work.tx, &[held.id], &Happening::Cancelled, &act).await?;
        Ok(())
    }
    .await;
    answer(&app, &signed, &label, Form::default(), work, done).await
}
