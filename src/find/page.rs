//! What was found; a single thing is opened at once.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::view::{self, Match, Wanted};
use crate::people::Signed;
use crate::tickets;
use crate::web::{App, Fault, Frame, see_other};

#[derive(Template, WebTemplate)]
#[template(path = "find/show.html")]
struct Found {
    frame: Frame,
    typed: String,
    matches: Vec<Match>,
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct Typed {
    #[serde(default)]
    find: String,
}

pub(super) async fn show(
    State(app): State<App>,
    signed: Signed,
    Query(typed): Query<Typed>,
) -> Result<Response, Fault> {
    let typed: String = typed.find.trim().replace('\0', "").chars().take(200).collect();
    let mut matches = Vec::new();
    if !typed.is_empty() {
        // A scanned address, or the characters of a ticket.
        let end = typed.rsplit('/').next().unwrap_or_default();
        if let Some(place) = tickets::place_of_code(&app.pool, end).await? {
            return Ok(see_other(&place));
        }
        let wanted = Wanted::read(&typed, signed.frame.owner());
        matches = view::called(&app.pool, &wanted).await?;
        if let [only] = matches.as_slice() {
            return Ok(see_other(&only.place));
        }
        if matches.is_empty() {
            matches = view::named(&app.pool, &typed).await?;
        }
    }
    Ok(Found { frame: signed.frame, typed, matches }.into_response())
}
