//! The extractor that guards the interface: a token, what it may do, and how often.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{StatusCode, header};

use super::answer::Problem;
use super::store::{self, TokenRow};
use crate::people::{Role, Signed};
use crate::studio::Settings;
use crate::web::{App, Frame, Show, Who};

/// Requests that a token may make in a minute.
pub(super) const A_MINUTE: i32 = 120;

/// A program that came with a token that works.
#[derive(Clone, Debug)]
pub(super) struct Program {
    pub(super) token: TokenRow,
}

impl FromRequestParts<App> for Program {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let unknown = || {
            Problem::new(
                StatusCode::UNAUTHORIZED,
                "Unknown token",
                "Send a token that works, as in “Authorization: Bearer …”. The studio's owner makes them.",
            )
        };
        let given = parts.headers.get(header::AUTHORIZATION).and_then(|value| value.to_str().ok());
        let given = given.and_then(|value| value.split_once(' ')).filter(|(scheme, _)| {
            // RFC 9110, 11.1: the scheme is compared without regard to case.
            scheme.eq_ignore_ascii_case("bearer")
        });
        let (_, secret) = given.ok_or_else(unknown)?;
        let now = app.clock.now();
        let token = store::token(&app.pool, secret.trim(), now).await?.ok_or_else(unknown)?;
        let n = store::count_request(&app.pool, token.id, now).await?;
        if n > A_MINUTE {
            let second = now.0.as_second().rem_euclid(60);
            return Err(Problem {
                retry_after_s: Some(60 - second),
                ..Problem::new(
                    StatusCode::TOO_MANY_REQUESTS,
                    "Too many requests",
                    format!("A token may make {A_MINUTE} requests in a minute."),
                )
            });
        }
        Ok(Self { token })
    }
}

impl Program {
    /// Refuses what the token does not allow.
    pub(super) fn needs(&self, scope: &str) -> Result<(), Problem> {
        if self.token.scopes.iter().any(|allowed| allowed == scope) {
            return Ok(());
        }
        Err(Problem::new(
            StatusCode::FORBIDDEN,
            "Not allowed",
            format!("The token lacks the scope {scope}."),
        ))
    }

    /// Acts for the person who made the token.
    pub(super) async fn signed(&self, app: &App) -> Result<Signed, Problem> {
        let now = app.clock.now();
        let settings = Settings::load(&app.pool).await?;
        let frame = Frame {
            studio: settings.name.clone(),
            who: Some(Who { name: self.token.name.clone(), owner: true }),
            show: Show::of(&settings, now),
            path: String::new(),
            notice: None,
        };
        Ok(Signed { person: self.token.made_by, role: Role::Owner, frame, now })
    }
}
