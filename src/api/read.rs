//! Lists and single things, page by page.

use std::collections::BTreeMap;

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use sqlx::postgres::PgRow;
use sqlx::{Postgres, QueryBuilder, Row};

use super::answer::{Problem, json_text};
use super::guard::Program;
use super::resources::{KeyKind, Resource};
use crate::exports::{Dataset, json_row};
use crate::web::App;

/// Rows on a page unless something else is asked for, and the most there can be.
pub(super) const USUAL: i64 = 50;
pub(super) const MOST: i64 = 500;

type Wanted = BTreeMap<String, String>;

pub(super) async fn clients(
    state: State<App>,
    program: Program,
    wanted: Query<Wanted>,
) -> Result<Response, Problem> {
    list(state, program, Path("clients".to_owned()), wanted).await
}

pub(super) async fn list(
    State(app): State<App>,
    program: Program,
    Path(name): Path<String>,
    Query(mut wanted): Query<Wanted>,
) -> Result<Response, Problem> {
    let (resource, dataset) = found(&name)?;
    program.needs(&resource.scope())?;
    let limit = match wanted.remove("limit") {
        None => USUAL,
        Some(text) => {
            text.parse().ok().filter(|limit| (1..=MOST).contains(limit)).ok_or_else(|| {
                Problem::input(
                    "Wrong page",
                    format!("limit must be a whole number from 1 to {MOST}."),
                )
            })?
        }
    };
    let after = wanted.remove("after");
    let mut query = QueryBuilder::<Postgres>::new(dataset.cells());
    query.push(" WHERE true");
    if let Some(after) = &after {
        query.push(" AND ");
        push_key(&mut query, dataset, resource, " > ", after)?;
    }
    for (name, value) in &wanted {
        let column = resource.filters.iter().find(|filter| *filter == name).ok_or_else(|| {
            let known = resource.filters.join(", ");
            Problem::input(
                "Unknown question",
                format!("{name} is not known here; known are limit, after, {known}."),
            )
        })?;
        if value.contains('\0') {
            return Err(Problem::input("Wrong value", format!("{name} cannot hold such a value.")));
        }
        query.push(format!(" AND ({})::text = ", sql_of(dataset, column))).push_bind(value.clone());
    }
    query.push(format!(" ORDER BY {} LIMIT ", key_sql(dataset, resource))).push_bind(limit + 1);
    let rows = query.build().fetch_all(&app.pool).await?;
    let more = rows.len() as i64 > limit;
    let shown = usize::try_from(limit).unwrap_or(rows.len()).min(rows.len());
    let mut out = String::from("{\"data\":[");
    for (n, row) in rows.iter().take(shown).enumerate() {
        if n > 0 {
            out.push(',');
        }
        push_row(&mut out, dataset, row)?;
    }
    out.push_str("],\"next\":");
    let at = dataset.columns.iter().position(|column| column.name == resource.key).unwrap_or(0);
    match rows.get(shown.wrapping_sub(1)).filter(|_| more) {
        Some(last) => {
            let key: Option<&str> = last.try_get(at)?;
            out.push_str(&serde_json::Value::from(key).to_string());
        }
        None => out.push_str("null"),
    }
    out.push('}');
    Ok(json_text(StatusCode::OK, out))
}

pub(super) async fn one(
    State(app): State<App>,
    program: Program,
    Path((name, key)): Path<(String, String)>,
) -> Result<Response, Problem> {
    let (resource, dataset) = found(&name)?;
    program.needs(&resource.scope())?;
    let mut query = QueryBuilder::<Postgres>::new(dataset.cells());
    query.push(" WHERE ");
    push_key(&mut query, dataset, resource, " = ", &key).map_err(|_| Problem::not_found())?;
    let row = query.build().fetch_optional(&app.pool).await?.ok_or_else(Problem::not_found)?;
    let mut out = String::new();
    push_row(&mut out, dataset, &row)?;
    Ok(json_text(StatusCode::OK, out))
}

fn found(name: &str) -> Result<(&'static Resource, &'static Dataset), Problem> {
    let resource = Resource::named(name).ok_or_else(Problem::not_found)?;
    let dataset = resource.dataset().ok_or_else(Problem::not_found)?;
    Ok((resource, dataset))
}

fn push_row(out: &mut String, dataset: &Dataset, row: &PgRow) -> Result<(), Problem> {
    let mut cells = Vec::with_capacity(dataset.columns.len());
    for n in 0..dataset.columns.len() {
        cells.push(row.try_get::<Option<&str>, _>(n)?);
    }
    json_row(out, dataset.columns, &cells);
    Ok(())
}

fn sql_of(dataset: &Dataset, column: &str) -> &'static str {
    dataset.columns.iter().find(|known| known.name == column).map_or("NULL", |known| known.sql())
}

/// The key as lists are ordered by it.
fn key_sql(dataset: &Dataset, resource: &Resource) -> String {
    let sql = sql_of(dataset, resource.key);
    match resource.kind {
        KeyKind::Label => format!("{sql} COLLATE \"C\""),
        KeyKind::Number | KeyKind::Uuid => sql.to_owned(),
    }
}

/// Compares the key with what was given; refuses what cannot be a key.
fn push_key(
    query: &mut QueryBuilder<Postgres>,
    dataset: &Dataset,
    resource: &Resource,
    sign: &str,
    given: &str,
) -> Result<(), Problem> {
    let wrong =
        || Problem::input("Wrong page", "after must be what “next” said on the page before.");
    query.push(key_sql(dataset, resource)).push(sign);
    match resource.kind {
        KeyKind::Number => query.push_bind(given.parse::<i64>().map_err(|_| wrong())?),
        KeyKind::Uuid => query.push_bind(given.parse::<uuid::Uuid>().map_err(|_| wrong())?),
        KeyKind::Label if given.contains('\0') => return Err(wrong()),
        KeyKind::Label => query.push_bind(given.to_owned()),
    };
    Ok(())
}
