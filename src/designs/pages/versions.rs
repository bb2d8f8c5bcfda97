//! Adds a version of a design; the older ones are kept.

use axum::extract::{Multipart, Path, State};
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::db::once::{self, Begun};
use crate::designs::{Design, Intake, actions};
use crate::people::Signed;
use crate::web::{App, Fault, see_other};

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    parts: Multipart,
) -> Result<Response, Fault> {
    let mut intake = Intake::receive(&app, signed.now, parts).await?;
    let refused = intake.note_refusals("models");
    if !refused && intake.taken.len() != 1 {
        intake.form.wrong("models", "Choose one file: the new version of this design.");
    }
    let status = intake.status();
    let (Some(taken), true) = (intake.taken.first(), intake.form.good()) else {
        let forms = Forms { upload: intake.form, ..Forms::default() };
        let page = page(&app, &signed, number, None, forms).await?;
        return Ok((status, page).into_response());
    };
    let mut work = match once::begin(&app.pool, intake.form.clone().key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    actions::add_version(&mut work.tx, &signed, number, taken).await?;
    let place = Design(number).to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}
