//! Models dropped on an order: each becomes a design and a line.

use axum::extract::{Multipart, Path, State};
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::show::{Forms, page};
use crate::designs::{Intake, refused_files};
use crate::orders::forms::LineForm;
use crate::orders::{Order, actions, view};
use crate::people::Signed;
use crate::web::{App, Fault};

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    parts: Multipart,
) -> Result<Response, Fault> {
    let mut intake = Intake::receive(&app, signed.now, parts).await?;
    let line = LineForm::read(&mut intake.form, 0);
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
    let seen = intake.form.version();
    let ended = intake
        .form
        .act_once(&app.pool, signed.now, async |conn| {
            let client = view::load(&mut *conn, number).await?.client_id;
            let order = actions::lock_for_lines(conn, number, seen).await?;
            actions::add_files(conn, &signed, order.id, client, &intake.taken, &line).await?;
            let detail = json!({ "lines": kept });
            actions::lines_changed(conn, &signed, &order, "added lines", detail).await?;
            Ok(Order(number))
        })
        .await?;
    let forms = Forms { files: intake, ..Forms::default() };
    ended.or_show(page(&app, &signed, number, forms)).await
}
