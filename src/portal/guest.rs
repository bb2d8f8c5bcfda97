//! The extractor that guards the client's page.

use askama::Template;
use axum::extract::{FromRequestParts, RawPathParams};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::{Html as Body, IntoResponse, Response};

use crate::clock::Moment;
use crate::orders::{self, OrderRow};
use crate::quotes::{self, LinkRow};
use crate::studio::Settings;
use crate::web::{App, Fault, Show, Units, asset};

/// Somebody who came by a client's link.
#[derive(Clone, Debug)]
pub(super) struct Guest {
    pub(super) link: LinkRow,
    pub(super) token: String,
    pub(super) order: OrderRow,
    pub(super) studio: String,
    pub(super) show: Show,
    pub(super) now: Moment,
}

/// Why somebody is not let in.
pub(super) enum Turned {
    Away,
    Fault(Fault),
}

impl<E: Into<Fault>> From<E> for Turned {
    fn from(fault: E) -> Self {
        Self::Fault(fault.into())
    }
}

#[derive(Template)]
#[template(path = "portal/gone.html")]
struct Gone {
    style: String,
}

impl IntoResponse for Turned {
    fn into_response(self) -> Response {
        match self {
            Self::Away => {
                let page = Gone { style: asset("app.css") };
                let body = page.render().unwrap_or_default();
                (StatusCode::NOT_FOUND, Body(body)).into_response()
            }
            Self::Fault(fault) => fault.into_response(),
        }
    }
}

impl FromRequestParts<App> for Guest {
    type Rejection = Turned;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Turned> {
        let now = app.clock.now();
        let params =
            RawPathParams::from_request_parts(parts, app).await.map_err(|_| Turned::Away)?;
        let token = params.iter().find(|(name, _)| *name == "token").map(|(_, token)| token);
        let token = token.unwrap_or_default().to_owned();
        let found = quotes::find_link(&app.pool, &app.link_secret, &token, now).await?;
        let link = found.ok_or(Turned::Away)?;
        let order = orders::load(&app.pool, link.number).await?;
        let settings = Settings::load(&app.pool).await?;
        let show = Show {
            units: Units {
                fahrenheit: settings.temperature_unit == "F",
                inches: settings.length_unit == "inch",
                mass: settings.mass_unit.clone(),
                currency: settings.currency.clone(),
            },
            zone: settings.zone(),
            now,
        };
        Ok(Self { link, token, order, studio: settings.name, show, now })
    }
}

impl Guest {
    /// The address of their page.
    pub(super) fn path(&self) -> String {
        format!("/c/{}", self.token)
    }
}
