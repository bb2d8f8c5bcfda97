//! The extractors that guard pages.

use axum::extract::FromRequestParts;
use axum::http::Method;
use axum::http::header::COOKIE;
use axum::http::request::Parts;

use super::store::{self, Role};
use crate::clock::Moment;
use crate::id::PersonId;
use crate::web::{App, Fault, Frame, Who};

/// The name of the session's cookie.
pub(super) const COOKIE_NAME: &str = "pourday";

/// Somebody who is signed in, and the frame of pages made for them.
#[derive(Clone, Debug)]
pub struct Signed {
    /// Who.
    pub person: PersonId,
    /// What they may do.
    pub role: Role,
    /// The frame of their pages.
    pub frame: Frame,
    /// When the person acted: when the request came, or before, where it had waited for a network.
    pub now: Moment,
}

/// Somebody who is signed in and owns the studio.
#[derive(Clone, Debug)]
pub struct Owner(pub Signed);

pub(super) fn token(parts: &Parts) -> Option<&str> {
    parts
        .headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .filter_map(|cookie| cookie.trim().split_once('='))
        .find_map(|(name, value)| (name == COOKIE_NAME).then_some(value))
}

impl FromRequestParts<App> for Signed {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Fault> {
        let now = app.clock.now();
        // A form cannot be repeated after signing in; the browser is led to the start instead.
        let next = if parts.method == Method::GET {
            parts.uri.path_and_query().map_or("/", |place| place.as_str()).to_owned()
        } else {
            "/".to_owned()
        };
        let Some(token) = token(parts) else { return Err(Fault::SignIn(next)) };
        let Some(row) = store::find_session(&app.pool, token, now).await? else {
            return Err(Fault::SignIn(next));
        };
        let frame = Frame {
            studio: row.studio_name.clone().unwrap_or_else(|| "Pourday".to_owned()),
            who: Some(Who { name: row.name.clone(), owner: row.role == Role::Owner }),
            show: row.show(now),
            path: parts.uri.path().to_owned(),
            notice: None,
        };
        Ok(Self { person: row.person_id, role: row.role, frame, now: tapped(parts, now) })
    }
}

/// The longest that a form may have waited on a device without a network.
const LONGEST_WAIT_S: i64 = 7 * 86_400;

/// When a form was sent off by its person: now, or so many seconds ago when the device had no
/// network then. Told as a span, for the device's own clock may be wrong.
fn tapped(parts: &Parts, now: Moment) -> Moment {
    let waited = parts
        .headers
        .get("x-tapped-seconds-ago")
        .filter(|_| parts.method == Method::POST)
        .and_then(|waited| waited.to_str().ok()?.parse::<i64>().ok())
        .unwrap_or(0);
    now.plus_seconds(-waited.clamp(0, LONGEST_WAIT_S))
}

impl FromRequestParts<App> for Owner {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Fault> {
        let signed = Signed::from_request_parts(parts, app).await?;
        if signed.role == Role::Owner { Ok(Self(signed)) } else { Err(Fault::Forbidden) }
    }
}
