//! What other programs may change: add a client, note a payment.
//!
//! Both take an `Idempotency-Key`; the same key leads to the same outcome, once.

use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::answer::{Problem, json_text};
use super::guard::Program;
use crate::clients;
use crate::db::once::{self, Begun};
use crate::id::ClientId;
use crate::invoices;
use crate::web::{App, Form};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct NewClient {
    name: String,
    #[serde(default)]
    email: String,
    #[serde(default)]
    phone: String,
    #[serde(default)]
    address: String,
    #[serde(default)]
    note: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct NewPayment {
    amount: String,
    on: String,
    #[serde(default)]
    currency: String,
    /// In the studio's currency, of money in another.
    #[serde(default)]
    booked: String,
    #[serde(default)]
    invoice: Option<Uuid>,
    #[serde(default)]
    method: String,
    #[serde(default)]
    reference: String,
}

fn read<T: serde::de::DeserializeOwned>(body: &Bytes) -> Result<T, Problem> {
    let mut json = serde_json::Deserializer::from_slice(body);
    serde_path_to_error::deserialize(&mut json).map_err(|fault| {
        let mut problem = Problem::input("Not as described", fault.inner().to_string());
        let path = fault.path().to_string();
        if path != "." {
            problem.fields.push((path, problem.detail.clone()));
        }
        problem
    })
}

/// The key that makes a request happen once; a new one where none is given.
fn key(headers: &HeaderMap) -> Result<Uuid, Problem> {
    let Some(given) = headers.get("idempotency-key") else { return Ok(Uuid::now_v7()) };
    let given = given.to_str().ok().and_then(|text| Uuid::parse_str(text).ok());
    given.ok_or_else(|| Problem::input("Wrong key", "Idempotency-Key must be a UUID (RFC 9562)."))
}

fn form(fields: &[(&str, &str)]) -> Form {
    let mut form = Form::default();
    for (name, value) in fields {
        form.put(name, value);
    }
    form
}

fn wrong(form: &Form) -> Problem {
    let mut problem =
        Problem::input("Not as described", "Some fields are not right; see “fields”.");
    problem.fields = form.errors().map(|(name, text)| (name.to_owned(), text.to_owned())).collect();
    problem
}

fn created(place: &str) -> Response {
    let id = place.rsplit('/').next().unwrap_or_default();
    let body = json!({ "id": id }).to_string();
    let mut response = json_text(StatusCode::CREATED, body);
    if let Ok(place) = place.parse() {
        response.headers_mut().insert(header::LOCATION, place);
    }
    response.into_response()
}

pub(super) async fn client(
    State(app): State<App>,
    program: Program,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Problem> {
    program.needs("clients:write")?;
    let key = key(&headers)?;
    let new: NewClient = read(&body)?;
    let mut form = form(&[
        ("name", &new.name),
        ("email", &new.email),
        ("phone", &new.phone),
        ("address", &new.address),
        ("note", &new.note),
    ]);
    let signed = program.signed(&app).await?;
    let mut work = match once::begin(&app.pool, key, signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(created(&place)),
    };
    let Some(id) = clients::add(&mut work.tx, &signed, &mut form).await? else {
        return Err(wrong(&form));
    };
    let place = format!("/api/v1/clients/{id}");
    work.commit(&place).await?;
    Ok(created(&place))
}

pub(super) async fn payment(
    State(app): State<App>,
    program: Program,
    Path(client): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Problem> {
    program.needs("payments:write")?;
    let client: ClientId = client.parse().map_err(|_| Problem::not_found())?;
    let key = key(&headers)?;
    let new: NewPayment = read(&body)?;
    let invoice = new.invoice.map(|id| id.to_string()).unwrap_or_default();
    let mut form = form(&[
        ("amount", &new.amount),
        ("on", &new.on),
        ("currency", &new.currency),
        ("booked", &new.booked),
        ("invoice", &invoice),
        ("method", &new.method),
        ("reference", &new.reference),
    ]);
    let signed = program.signed(&app).await?;
    let mut work = match once::begin(&app.pool, key, signed.now).await? {
        Begun::First(work) => work,
        Begun::Again(place) => return Ok(created(&place)),
    };
    let Some(id) = invoices::note_payment(&mut work.tx, &signed, client, &mut form).await? else {
        return Err(wrong(&form));
    };
    let place = format!("/api/v1/client_entries/{id}");
    work.commit(&place).await?;
    Ok(created(&place))
}
