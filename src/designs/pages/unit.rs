//! Says in which unit a model was drawn; everything is measured again.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::designs::{Design, actions, forms, reading, view};
use crate::files;
use crate::people::Signed;
use crate::web::{App, Fault, Form, Refused};

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let told = forms::unit(&mut form);
    let n = form.whole("n", 1, 1_000_000).and_then(|n| i32::try_from(n).ok());
    let (Some(told), Some(n)) = (told, n) else {
        let page =
            page(&app, &signed, number, None, Forms { unit: form, ..Forms::default() }).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let version = view::version_file(&app.pool, number, n).await?;
    let bytes = files::read(&app.pool, version.file_id).await?;
    let name = version.file_name.clone();
    let reading = reading::take(bytes.into(), name, app.largest_model, Some(told)).await?;
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            let reading = reading.map_err(|why| Refused::input("unit", why))?;
            actions::tell_unit(conn, &signed, number, &version, &reading)
                .await
                .map_err(|fault| fault.at("unit"))?;
            Ok(format!("{}?version={n}", Design(number)))
        })
        .await?;
    let forms = Forms { unit: form, ..Forms::default() };
    ended.or_show(page(&app, &signed, number, Some(n), forms)).await
}
