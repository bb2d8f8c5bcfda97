//! Answers of the interface: JSON, and problems in the form of RFC 9457.

use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};

use crate::web::Fault;

/// Why a request was not answered with what it asked for.
#[derive(Debug)]
pub(super) struct Problem {
    pub(super) status: StatusCode,
    pub(super) title: &'static str,
    pub(super) detail: String,
    /// What is wrong with which field.
    pub(super) fields: Vec<(String, String)>,
    /// Seconds after which to come again.
    pub(super) retry_after_s: Option<i64>,
}

impl Problem {
    pub(super) fn new(status: StatusCode, title: &'static str, detail: impl Into<String>) -> Self {
        Self { status, title, detail: detail.into(), fields: Vec::new(), retry_after_s: None }
    }

    pub(super) fn not_found() -> Self {
        Self::new(StatusCode::NOT_FOUND, "Not found", "There is nothing at this address.")
    }

    pub(super) fn input(title: &'static str, detail: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, title, detail)
    }
}

impl From<Fault> for Problem {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::NotFound => Self::not_found(),
            Fault::Forbidden | Fault::SignIn(_) => {
                Self::new(StatusCode::FORBIDDEN, "Not allowed", "The token does not allow this.")
            }
            Fault::Refused(refused) => {
                let mut problem = Self::new(refused.status, "Refused", refused.message.clone());
                if let Some(field) = refused.field {
                    problem.fields.push((field.to_owned(), refused.message));
                }
                problem
            }
            Fault::Busy => Self {
                retry_after_s: Some(2),
                ..Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "One moment",
                    "The database is not answering just now. Nothing that was confirmed is lost.",
                )
            },
            Fault::Unforeseen(cause) => {
                tracing::error!(error.text = %cause, "unforeseen in the interface");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "Something broke",
                    "Something broke on our side; nothing of what you did before is lost.",
                )
            }
        }
    }
}

impl From<sqlx::Error> for Problem {
    fn from(error: sqlx::Error) -> Self {
        Fault::from(error).into()
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut body = json!({
            "type": "about:blank",
            "title": self.title,
            "status": self.status.as_u16(),
            "detail": self.detail,
        });
        if !self.fields.is_empty() {
            let fields: Map<String, Value> = self
                .fields
                .into_iter()
                .map(|(name, message)| (name, Value::from(message)))
                .collect();
            body["fields"] = Value::Object(fields);
        }
        let mut response = (
            self.status,
            [(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"))],
            body.to_string(),
        )
            .into_response();
        let mut set = |name: HeaderName, value: String| {
            if let Ok(value) = HeaderValue::from_str(&value) {
                response.headers_mut().insert(name, value);
            }
        };
        if let Some(seconds) = self.retry_after_s {
            set(header::RETRY_AFTER, seconds.to_string());
        }
        if self.status == StatusCode::UNAUTHORIZED {
            set(header::WWW_AUTHENTICATE, "Bearer".to_owned());
        }
        response
    }
}

/// JSON that was written as text.
pub(super) fn json_text(status: StatusCode, body: String) -> Response {
    let headers = [(header::CONTENT_TYPE, HeaderValue::from_static("application/json"))];
    (status, headers, body).into_response()
}
