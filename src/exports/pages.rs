//! The page of exports, and the files themselves.

use askama::Template;
use askama_web::WebTemplate;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use super::datasets::{Dataset, datasets};
use super::stream::{self, Form};
use crate::people::Owner;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "exports/index.html")]
pub(crate) struct Index {
    frame: Frame,
    datasets: Vec<&'static Dataset>,
}

pub(crate) async fn index(Owner(signed): Owner) -> Index {
    Index { frame: signed.frame, datasets: datasets().collect() }
}

pub(crate) async fn dataset(
    State(app): State<App>,
    Owner(_signed): Owner,
    Path(file): Path<String>,
) -> Result<Response, Fault> {
    let (name, form) = match file.rsplit_once('.') {
        Some((name, "csv")) => (name, Form::Csv),
        Some((name, "json")) => (name, Form::Json),
        _ => return Err(Fault::NotFound),
    };
    let dataset = datasets().find(|dataset| dataset.name == name).ok_or(Fault::NotFound)?;
    Ok(file_answer(&file, form, stream::one(app.pool, dataset, form)))
}

pub(crate) async fn everything(State(app): State<App>, Owner(_signed): Owner) -> Response {
    file_answer("everything.json", Form::Json, stream::everything(app.pool))
}

fn file_answer(name: &str, form: Form, body: Body) -> Response {
    let media_type = match form {
        Form::Csv => "text/csv; charset=utf-8; header=present",
        Form::Json => "application/json",
    };
    let place = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""))
        .unwrap_or(HeaderValue::from_static("attachment"));
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(media_type)),
        (header::CONTENT_DISPOSITION, place),
    ];
    (headers, body).into_response()
}
