//! The plan for calendars: a private address that can be revoked, in the form of RFC 5545.

mod address;
mod events;
mod text;
mod view;

use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use super::store;
use crate::people::Signed;
use crate::web::{App, Fault, Form};

pub(super) use address::path_of;

/// What a calendar reads.
pub(super) async fn read(
    State(app): State<App>,
    Path(name): Path<String>,
) -> Result<Response, Fault> {
    let token = name.strip_suffix(".ics").unwrap_or(&name);
    let id = address::opened(&app.link_secret, token).ok_or(Fault::NotFound)?;
    let now = app.clock.now();
    if !store::note_feed_read(&app.pool, id, now).await? {
        return Err(Fault::NotFound);
    }
    let (studio, events) = events::events(&app.pool, now).await?;
    let body = text::calendar(&studio, &events, now);
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("text/calendar; charset=utf-8")),
        (header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache")),
        (header::CONTENT_DISPOSITION, HeaderValue::from_static("inline; filename=\"pourday.ics\"")),
    ];
    Ok((headers, body).into_response())
}

/// Makes a new address; the one before ends.
pub(super) async fn make(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    change(&app, &signed, &mut form, true).await
}

/// Ends the address.
pub(super) async fn revoke(
    State(app): State<App>,
    signed: Signed,
    mut form: Form,
) -> Result<Response, Fault> {
    change(&app, &signed, &mut form, false).await
}

async fn change(
    app: &App,
    signed: &Signed,
    form: &mut Form,
    anew: bool,
) -> Result<Response, Fault> {
    const PLACE: &str = "/plan#calendar";
    form.act_once(&app.pool, signed.now, async |conn| {
        store::revoke_feed(conn, signed.person, signed.now).await?;
        if anew {
            store::insert_feed(conn, signed.person, signed.now).await?;
        }
        Ok(PLACE)
    })
    .await?
    .led()
}
