//! Models dropped on an order: each becomes a design and a line.

use axum::extract::{Multipart, Path, State};
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::show::{Forms, page};
use crate::db::once::{self, Begun};
use crate::designs::{Intake, refused_files};
use crate::orders::forms::LineForm;
use crate::orders::{Order, actions, view};
use crate::people::Signed;
use crate::web::{App, Fault, see_other};

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    parts: Multipart,
) -> Result<Response, Fault> {
    let mut intake = Intake::receive(&app, signed.now, parts).await?;
    let line = LineForm::read(&mut intake.form);
    let kept = intake.taken.len();
    if intake.note_refusals("models") {
        intake.form.wrong("", refused_files(kept));
    } else if kept == 0 {
        intake.form.wrong("models", "Choose at least one model: STL, OBJ, 3MF or PLY.");
    }
    let (Some(line), true) = (line, intake.form.good()) else {
        let status = intake.status();
        let page = page(&app, &signed, number, Forms { files: intake, ..Forms::default() }).await?;
        return Ok((status, page).into_response());
    };
    let mut work = match once::begin(&app.pool, intake.form.key(), signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(see_other(&place)),
    };
    let client = view::load(&mut *work.tx, number).await?.client_id;
    let seen = intake.form.version();
    let outcome = async {
        let order = actions::lock_for_lines(&mut work.tx, number, seen).await?;
        actions::add_files(&mut work.tx, &signed, order.id, client, &intake.taken, &line).await?;
        let detail = json!({ "lines": kept });
        actions::lines_changed(&mut work.tx, &signed, &order, "added lines", detail).await
    }
    .await;
    match outcome {
        Ok(()) => {}
        Err(Fault::Refused(refused)) => {
            drop(work);
            intake.form.refuse(&refused);
            let forms = Forms { files: intake, ..Forms::default() };
            let page = page(&app, &signed, number, forms).await?;
            return Ok((refused.status, page).into_response());
        }
        Err(fault) => return Err(fault),
    }
    let place = Order(number).to_string();
    work.commit(&place).await?;
    Ok(see_other(&place))
}
