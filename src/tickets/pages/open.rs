//! A ticket that was scanned or typed leads to the step that comes next.

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::people::Signed;
use crate::tickets::code::Code;
use crate::tickets::{lead, store};
use crate::web::{App, Fault, PageLinks, see_other};

pub(crate) async fn open(
    State(app): State<App>,
    _signed: Signed,
    Path(code): Path<String>,
) -> Result<Response, Fault> {
    let code: Code = code.parse().map_err(|()| Fault::NotFound)?;
    let subject = store::subject(&app.pool, &code).await?.ok_or(Fault::NotFound)?;
    let place = lead::next(&app.pool, &subject).await?.ok_or(Fault::NotFound)?;
    Ok(see_other(&place))
}

/// Where the tickets of everything being made lead, kept by devices that may lose the network.
pub(crate) async fn all_open(State(app): State<App>, _signed: Signed) -> Result<Response, Fault> {
    Ok(Json(lead::all_open(&app.pool).await?).into_response())
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(crate) struct Typed {
    #[serde(default)]
    find: String,
}

/// Something typed in a hurry: a code, a label such as 1042-3, or a kind and a number such as
/// flask 201.
pub(crate) async fn find(
    State(app): State<App>,
    _signed: Signed,
    Query(typed): Query<Typed>,
) -> Result<Response, Fault> {
    let asked = typed.find.trim().to_owned();
    let typed = asked.to_lowercase();
    // A scanned address is taken by its end.
    let typed = typed.rsplit('/').next().unwrap_or_default();
    if let Some(place) = lead::place_of_code(&app.pool, typed).await? {
        return Ok(see_other(&place));
    }
    for subject in [typed.replacen(' ', ":", 1), format!("piece:{typed}")] {
        if let Some(place) = lead::next(&app.pool, &subject).await? {
            return Ok(see_other(&place));
        }
    }
    // It may be something else than a ticket's.
    Ok(see_other(&PageLinks::base("/find", &[("find", &asked)])))
}
