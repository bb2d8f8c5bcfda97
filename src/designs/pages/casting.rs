//! Says how a design is to be cast, and asks for its analyses or calls them off.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::show::{Forms, page};
use crate::analysis::Casting;
use crate::designs::closer::{self, Closer};
use crate::designs::{Design, actions, change, forms, view};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Refused, see_other};

/// The version a form is about.
async fn version(app: &App, number: i32, form: &mut Form) -> Result<view::VersionRow, Fault> {
    let n = form.whole("n", 1, 1_000_000).and_then(|n| i32::try_from(n).ok());
    let design = view::load(&app.pool, number).await?;
    let versions = view::versions(&app.pool, design.id).await?;
    versions.into_iter().find(|version| Some(version.n) == n).ok_or(Fault::NotFound)
}

fn place(number: i32, n: i32) -> String {
    format!("{}?version={n}", Design(number))
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let version = version(&app, number, &mut form).await?;
    let box_mm = change::box_of(&version);
    let closer = Closer::read(&app.pool, version.id, box_mm).await?;
    let centre_mm = closer.and_then(|closer| closer.centre_mm());
    let model = centre_mm.map(|centre_mm| forms::Extent { centre_mm, box_mm });
    let Some(casting) = forms::casting(&mut form, model) else {
        let forms = Forms { casting: Some(form), ..Forms::default() };
        let page = page(&app, &signed, number, Some(version.n), forms).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    keep(&app, &signed, number, &version, &casting, form).await
}

/// Takes over the sprues that the analysis found to do.
pub(crate) async fn take_advice(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let version = version(&app, number, &mut form).await?;
    let closer = Closer::read(&app.pool, version.id, change::box_of(&version)).await?;
    let taken = closer.as_ref().and_then(|closer| {
        let (casting, _) = closer.casting.clone()?;
        Some(Casting { sprues: closer.proposed()?.to_vec(), ..casting })
    });
    let Some(casting) = taken else {
        return Err(Refused::conflict(
            "There is no such advice any more; the way of casting was changed meanwhile. Look at the design as it is now.",
        )
        .into());
    };
    keep(&app, &signed, number, &version, &casting, form).await
}

async fn keep(
    app: &App,
    signed: &Signed,
    number: i32,
    version: &view::VersionRow,
    casting: &Casting,
    mut form: Form,
) -> Result<Response, Fault> {
    let seen = form.version();
    let ended = form
        .act_once(&app.pool, signed.now, async |conn| {
            actions::cast_so(conn, signed, number, version.id, casting, seen).await?;
            Ok(format!("{}#casting", place(number, version.n)))
        })
        .await?;
    let again = async {
        // The version the form was made from has passed; with the one there is now it may be sent again.
        let mut conn = app.pool.acquire().await?;
        if let Some(asked) = closer::questions(&mut conn, version.id).await? {
            let now = asked.casting.map_or(0, |(_, version)| version);
            form.set("version", &now.to_string());
        }
        drop(conn);
        let forms = Forms { casting: Some(form), ..Forms::default() };
        page(app, signed, number, Some(version.n), forms).await
    };
    ended.or_show(again).await
}

/// Asks for what is not known yet.
pub(crate) async fn ask(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let version = version(&app, number, &mut form).await?;
    let mut tx = app.pool.begin().await?;
    actions::ask(&mut tx, &signed, version.id).await?;
    tx.commit().await?;
    Ok(see_other(&place(number, version.n)))
}

/// Calls off what is not finished.
pub(crate) async fn cancel(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let version = version(&app, number, &mut form).await?;
    let mut tx = app.pool.begin().await?;
    actions::call_off(&mut tx, &signed, version.id).await?;
    tx.commit().await?;
    Ok(see_other(&place(number, version.n)))
}
