//! What can go wrong with a request, and the page for each.

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html as Body, IntoResponse, Response};

use crate::web::asset;

/// The field with which somebody says that what was doubted is so.
pub const SURE: &str = "sure";

/// A request that was understood and turned down, with what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// 409 when the state of things is in the way, 422 when the input is.
    pub status: StatusCode,
    /// What happened, what was kept, what to do: whole sentences.
    pub message: String,
    /// The form's field it is about.
    pub field: Option<&'static str>,
}

impl Refused {
    /// The state of things is in the way.
    #[must_use]
    pub fn conflict(message: impl Into<String>) -> Self {
        Self { status: StatusCode::CONFLICT, message: message.into(), field: None }
    }

    /// The input is in the way, at a field.
    #[must_use]
    pub fn input(field: &'static str, message: impl Into<String>) -> Self {
        Self {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            message: message.into(),
            field: Some(field),
        }
    }

    /// The same, pointing at a field.
    #[must_use]
    pub fn at(mut self, field: &'static str) -> Self {
        self.field = Some(field);
        self
    }

    /// A thing stands otherwise by now than what was asked for needs; `stands` says how.
    #[must_use]
    pub fn gone_on(what: &str, stands: &str) -> Self {
        Self::conflict(format!(
            "{what} {stands} by now, so nothing was changed. This is how it stands."
        ))
    }

    /// It may be so, but hardly is: the form is shown again with a tick that lets it through.
    #[must_use]
    pub fn doubted(message: impl Into<String>) -> Self {
        Self::input(SURE, message)
    }

    /// Somebody changed the thing since the form was made.
    #[must_use]
    pub fn stale(what: &str) -> Self {
        Self::conflict(format!(
            "Somebody changed {what} while this page was open. Nothing of yours was saved; look at it as it is now and try again."
        ))
    }
}

/// Everything a handler may fail with.
#[derive(Debug)]
pub enum Fault {
    /// There is no such thing.
    NotFound,
    /// It is not for this person.
    Forbidden,
    /// Nobody is signed in; afterwards the browser goes on to the address.
    SignIn(String),
    /// Turned down, with a reason.
    Refused(Refused),
    /// The database cannot be reached just now.
    Busy,
    /// A defect or a breakdown; the cause goes to the log.
    Unforeseen(Box<dyn std::error::Error + Send + Sync>),
}

impl Fault {
    /// A refusal points at a field then; a doubt keeps its tick, and anything else stays what it is.
    #[must_use]
    pub fn at(self, field: &'static str) -> Self {
        match self {
            Self::Refused(refused) if refused.field != Some(SURE) => {
                Self::Refused(refused.at(field))
            }
            fault => fault,
        }
    }
}

impl From<Refused> for Fault {
    fn from(refused: Refused) -> Self {
        Self::Refused(refused)
    }
}

impl From<sqlx::Error> for Fault {
    fn from(error: sqlx::Error) -> Self {
        match &error {
            sqlx::Error::RowNotFound => Self::NotFound,
            _ if crate::db::is_unavailable(&error) => Self::Busy,
            sqlx::Error::Database(db) => {
                if let Some(message) = db.constraint().and_then(crate::db::constraint::meaning) {
                    return Self::Refused(Refused::conflict(message));
                }
                // 57P01 to 57P03: the server is stopping, crashed or starting.
                if db.code().is_some_and(|code| code.starts_with("57P")) {
                    return Self::Busy;
                }
                Self::Unforeseen(error.into())
            }
            _ => Self::Unforeseen(error.into()),
        }
    }
}

impl From<serde_json::Error> for Fault {
    fn from(error: serde_json::Error) -> Self {
        Self::Unforeseen(error.into())
    }
}

#[derive(Template)]
#[template(path = "parts/fault.html")]
struct FaultPage<'a> {
    title: &'a str,
    message: &'a str,
    style: String,
}

impl Fault {
    fn page(status: StatusCode, title: &str, message: &str) -> Response {
        let page = FaultPage { title, message, style: asset("app.css") };
        let body = page.render().unwrap_or_else(|_| title.to_owned());
        (status, Body(body)).into_response()
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        match self {
            Self::NotFound => Self::page(
                StatusCode::NOT_FOUND,
                "Not here",
                "There is nothing at this address. It may have been a link that has expired, or a number typed wrongly.",
            ),
            Self::Forbidden => Self::page(
                StatusCode::FORBIDDEN,
                "Not for you",
                "This page is for the studio's owner. Ask them to do it, or to change your role.",
            ),
            Self::SignIn(next) => {
                let place = format!("/sign-in?next={}", crate::web::form::percent(&next));
                crate::web::see_other(&place)
            }
            Self::Refused(refused) => {
                Self::page(refused.status, "That did not go", &refused.message)
            }
            Self::Busy => {
                let mut response = Self::page(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "One moment",
                    "The database is not answering just now; it is usually back within seconds. Nothing that was confirmed is lost. Try again.",
                );
                response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("2"));
                response
            }
            Self::Unforeseen(cause) => {
                let number = uuid::Uuid::now_v7().simple().to_string();
                let short = &number[number.len() - 8..];
                let mut chain = cause.to_string();
                let mut below = cause.source();
                while let Some(next) = below {
                    chain.push_str(": ");
                    chain.push_str(&next.to_string());
                    below = next.source();
                }
                tracing::error!(fault.number = short, error.text = chain, "unforeseen");
                let message = format!(
                    "Something broke on our side; nothing of what you did before is lost. If it happens again, tell whoever looks after this program the number {short}."
                );
                Self::page(StatusCode::INTERNAL_SERVER_ERROR, "Something broke", &message)
            }
        }
    }
}
