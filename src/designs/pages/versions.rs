//! Adds a version of a design; the older ones are kept.

use axum::extract::{Multipart, Path, State};
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::designs::{Design, Intake, actions};
use crate::people::Signed;
use crate::web::{App, Fault};

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
    intake
        .form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::add_version(conn, &signed, number, taken).await?;
            Ok(Design(number))
        })
        .await?
        .led()
}
