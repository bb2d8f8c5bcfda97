//! The description of the interface (OpenAPI 3.1), made from the tables that the answers are made from.

use axum::http::StatusCode;
use axum::response::Response;
use serde_json::{Map, Value, json};

use super::answer::json_text;
use super::guard::A_MINUTE;
use super::read::{MOST, USUAL};
use super::resources::{KeyKind, RESOURCES, Resource};
use crate::exports::{Column, Kind};

pub(super) async fn show() -> Response {
    json_text(StatusCode::OK, document().to_string())
}

/// The schema of a cell.
fn cell(column: &Column, nullable: bool) -> Value {
    let (kind, format) = match column.kind {
        Kind::Text => ("string", None),
        Kind::Number => ("number", None),
        Kind::Day => ("string", Some("date")),
        Kind::Moment => ("string", Some("date-time")),
        Kind::Flag => ("boolean", None),
    };
    let mut schema = json!({ "description": column.meaning });
    schema["type"] = if nullable { json!([kind, "null"]) } else { json!(kind) };
    if let Some(format) = format {
        schema["format"] = json!(format);
    }
    schema
}

fn schema(resource: &Resource) -> Value {
    let columns = resource.dataset().map(|dataset| dataset.columns).unwrap_or_default();
    let properties: Map<String, Value> = columns
        .iter()
        .map(|column| (column.name.to_owned(), cell(column, column.name != resource.key)))
        .collect();
    let required: Vec<&str> = columns.iter().map(|column| column.name).collect();
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

fn key_schema(kind: KeyKind) -> Value {
    match kind {
        KeyKind::Number => json!({ "type": "integer", "format": "int64" }),
        KeyKind::Uuid => json!({ "type": "string", "format": "uuid" }),
        KeyKind::Label => json!({ "type": "string" }),
    }
}

/// Problems that any request may meet, and those of its own.
fn responses(good: &[(&str, Value)], problems: &[(&str, &str)]) -> Value {
    let mut out: Map<String, Value> =
        good.iter().map(|(status, response)| ((*status).to_owned(), response.clone())).collect();
    let always = [
        ("401", "The token is missing, unknown or revoked."),
        ("403", "The token lacks the scope."),
        ("429", "Too many requests in this minute; Retry-After says when to come again."),
        ("503", "The database is not answering just now."),
    ];
    for (status, words) in always.iter().chain(problems) {
        let content = json!({ "application/problem+json": { "schema": { "$ref": "#/components/schemas/problem" } } });
        out.insert((*status).to_owned(), json!({ "description": words, "content": content }));
    }
    Value::Object(out)
}

fn json_response(words: &str, schema: Value) -> Value {
    json!({ "description": words, "content": { "application/json": { "schema": schema } } })
}

fn reading(paths: &mut Map<String, Value>, resource: &Resource) {
    let title = resource.dataset().map_or(resource.name, |dataset| dataset.title);
    let reference = json!({ "$ref": format!("#/components/schemas/{}", resource.single) });
    let mut parameters = vec![
        json!({ "name": "limit", "in": "query", "description": "how many on a page",
            "schema": { "type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL } }),
        json!({ "name": "after", "in": "query", "description": "what “next” said on the page before",
            "schema": key_schema(resource.kind) }),
    ];
    for filter in resource.filters {
        parameters.push(json!({ "name": filter, "in": "query", "description": format!("only those whose {filter} is this"),
            "schema": { "type": "string" } }));
    }
    let page = json!({ "type": "object", "required": ["data", "next"], "properties": {
        "data": { "type": "array", "items": reference },
        "next": { "type": ["string", "null"], "description": "goes into “after” for the next page; null on the last" } } });
    let security = json!([{ "token": [resource.scope()] }]);
    let list = json!({
        "operationId": format!("list_{}", resource.name),
        "summary": format!("{title}, page by page"),
        "description": format!("Needs the scope {}.", resource.scope()),
        "parameters": parameters,
        "security": security,
        "responses": responses(&[("200", json_response(title, page))], &[("422", "A parameter cannot be understood.")]),
    });
    let single = json!({
        "operationId": format!("read_{}", resource.single),
        "summary": format!("One {}", resource.single),
        "description": format!("Needs the scope {}.", resource.scope()),
        "parameters": [{ "name": "key", "in": "path", "required": true, "schema": key_schema(resource.kind),
            "description": format!("its {}", resource.key) }],
        "security": security,
        "responses": responses(&[("200", json_response("It", reference))], &[("404", "There is none.")]),
    });
    paths.insert(format!("/api/v1/{}", resource.name), json!({ "get": list }));
    paths.insert(format!("/api/v1/{}/{{key}}", resource.name), json!({ "get": single }));
}

/// An operation that changes something.
fn writing(
    id: &str,
    summary: &str,
    scope: &str,
    parameters: Vec<Value>,
    body: &Value,
    problems: &[(&str, &str)],
) -> Value {
    let mut all = parameters;
    all.push(json!({ "name": "Idempotency-Key", "in": "header", "schema": { "type": "string", "format": "uuid" },
        "description": "the same key happens once, however often it is sent" }));
    let done = json!({ "type": "object", "required": ["id"], "properties": { "id": { "type": "string", "format": "uuid" } } });
    json!({
        "operationId": id,
        "summary": summary,
        "description": format!("Needs the scope {scope}."),
        "parameters": all,
        "requestBody": { "required": true, "content": { "application/json": { "schema": body } } },
        "security": [{ "token": [scope] }],
        "responses": responses(&[("201", json_response("Done", done))], problems),
    })
}

/// The whole document.
pub(super) fn document() -> Value {
    let mut paths = Map::new();
    let mut schemas = Map::new();
    for resource in &RESOURCES {
        reading(&mut paths, resource);
        schemas.insert(resource.single.to_owned(), schema(resource));
    }
    schemas.insert(
        "problem".to_owned(),
        json!({ "type": "object", "required": ["type", "title", "status", "detail"], "properties": {
            "type": { "type": "string" }, "title": { "type": "string" }, "status": { "type": "integer" },
            "detail": { "type": "string" },
            "fields": { "type": "object", "additionalProperties": { "type": "string" } } } }),
    );
    let text = |most: u32| json!({ "type": "string", "maxLength": most });
    let client = json!({ "type": "object", "required": ["name"], "additionalProperties": false, "properties": {
        "name": { "type": "string", "minLength": 1, "maxLength": 200 }, "email": text(200), "phone": text(60),
        "address": text(1000), "note": text(4000) } });
    let problems =
        [("409", "It is in the way of something."), ("422", "The body is not as described.")];
    if let Some(Value::Object(clients)) = paths.get_mut("/api/v1/clients") {
        let add =
            writing("add_client", "Add a client", "clients:write", Vec::new(), &client, &problems);
        clients.insert("post".to_owned(), add);
    }
    let payment = json!({ "type": "object", "required": ["amount", "on"], "additionalProperties": false, "properties": {
        "amount": { "type": "string", "description": "a decimal number", "examples": ["161.99"] },
        "currency": { "type": "string", "maxLength": 3, "description": "one in which the client has an account; the studio's when left out" },
        "booked": { "type": "string", "description": "what it is in the studio's currency, of money in another; at the price book's rate of the day when left out" },
        "on": { "type": "string", "format": "date", "description": "the day it was received" },
        "invoice": { "type": ["string", "null"], "format": "uuid", "description": "what it pays for; the oldest first when left out" },
        "method": text(60), "reference": text(200) } });
    let of = json!({ "name": "id", "in": "path", "required": true, "schema": { "type": "string", "format": "uuid" },
        "description": "the client's id" });
    let known = [problems[0], problems[1], ("404", "There is no such client.")];
    let note = writing(
        "note_payment",
        "Note a payment of a client",
        "payments:write",
        vec![of],
        &payment,
        &known,
    );
    paths.insert("/api/v1/clients/{id}/payments".to_owned(), json!({ "post": note }));
    json!({
        "openapi": "3.1.0",
        "info": { "title": "Pourday", "version": "1",
            "description": format!("What a studio keeps, for other programs. A token may make {A_MINUTE} requests in a minute. Problems come in the form of RFC 9457.") },
        "paths": paths,
        "components": { "schemas": schemas, "securitySchemes": { "token": { "type": "http", "scheme": "bearer" } } },
    })
}
