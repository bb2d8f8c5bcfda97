//! Reading and writing catalogue entries. Names of tables and columns come from
//! [`super::entry`] alone, never from a request.

use serde_json::Value as Json;
use sqlx::{PgConnection, PgPool, QueryBuilder};
use uuid::Uuid;

use super::entry::{Catalogue, Value};
use crate::clock::Moment;

/// An entry as the database writes it: a JSON object of its columns.
pub(super) async fn list(pool: &PgPool, catalogue: &Catalogue) -> Result<Vec<Json>, sqlx::Error> {
    QueryBuilder::new("SELECT to_jsonb(t) FROM ")
        .push(catalogue.table)
        .push(" t WHERE retired_at IS NULL ORDER BY name")
        .build_query_scalar()
        .fetch_all(pool)
        .await
}

pub(super) async fn load(
    pool: &PgPool,
    catalogue: &Catalogue,
    id: Uuid,
) -> Result<Json, sqlx::Error> {
    QueryBuilder::new("SELECT to_jsonb(t) FROM ")
        .push(catalogue.table)
        .push(" t WHERE id = ")
        .push_bind(id)
        .build_query_scalar()
        .fetch_one(pool)
        .await
}

fn bind(query: &mut QueryBuilder<sqlx::Postgres>, value: &Value) {
    match value {
        Value::Text(text) => query.push_bind(text.clone()),
        Value::Real(real) => query.push_bind(*real),
        Value::Whole(whole) => query.push_bind(*whole),
        Value::Money(money) => query.push_bind(*money),
    };
}

pub(super) async fn insert(
    conn: &mut PgConnection,
    catalogue: &Catalogue,
    id: Uuid,
    values: &[Value],
) -> Result<(), sqlx::Error> {
    let mut query = QueryBuilder::new("INSERT INTO ");
    query.push(catalogue.table).push(" (id");
    for column in catalogue.columns {
        query.push(", ").push(column.name);
    }
    query.push(") VALUES (").push_bind(id);
    for value in values {
        query.push(", ");
        bind(&mut query, value);
    }
    query.push(")").build().execute(conn).await?;
    Ok(())
}

pub(super) async fn update(
    conn: &mut PgConnection,
    catalogue: &Catalogue,
    id: Uuid,
    values: &[Value],
) -> Result<(), sqlx::Error> {
    let mut query = QueryBuilder::new("UPDATE ");
    query.push(catalogue.table).push(" SET ");
    for (n, (column, value)) in catalogue.columns.iter().zip(values).enumerate() {
        query.push(if n == 0 { "" } else { ", " }).push(column.name).push(" = ");
        bind(&mut query, value);
    }
    query.push(" WHERE id = ").push_bind(id).build().execute(conn).await?;
    Ok(())
}

pub(super) async fn retire(
    conn: &mut PgConnection,
    catalogue: &Catalogue,
    id: Uuid,
    now: Moment,
) -> Result<(), sqlx::Error> {
    QueryBuilder::new("UPDATE ")
        .push(catalogue.table)
        .push(" SET retired_at = ")
        .push_bind(now)
        .push(" WHERE id = ")
        .push_bind(id)
        .build()
        .execute(conn)
        .await?;
    Ok(())
}

/// An alloy's composition: symbol and parts per thousand.
pub(super) async fn composition(
    pool: &PgPool,
    alloy: Uuid,
) -> Result<Vec<(String, rust_decimal::Decimal)>, sqlx::Error> {
    sqlx::query_as("SELECT metal, parts_per_thousand FROM alloy_parts WHERE alloy_id = $1 ORDER BY parts_per_thousand DESC, metal")
        .bind(alloy)
        .fetch_all(pool)
        .await
}

pub(super) async fn set_composition(
    conn: &mut PgConnection,
    alloy: Uuid,
    parts: &[(String, rust_decimal::Decimal)],
) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM alloy_parts WHERE alloy_id = $1")
        .bind(alloy)
        .execute(&mut *conn)
        .await?;
    for (metal, share) in parts {
        sqlx::query(
            "INSERT INTO alloy_parts (alloy_id, metal, parts_per_thousand) VALUES ($1, $2, $3)",
        )
        .bind(alloy)
        .bind(metal)
        .bind(share)
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Families two by two, and whether they may not share a load.
pub(super) async fn pairs(
    pool: &PgPool,
) -> Result<Vec<(Uuid, String, Uuid, String, bool)>, sqlx::Error> {
    sqlx::query_as(
        "SELECT a.id, a.name, b.id, b.name, i.one_id IS NOT NULL FROM burnout_families a
         JOIN burnout_families b ON a.id < b.id
         LEFT JOIN incompatible_families i ON i.one_id = a.id AND i.other_id = b.id
         WHERE a.retired_at IS NULL AND b.retired_at IS NULL ORDER BY a.name, b.name",
    )
    .fetch_all(pool)
    .await
}

pub(super) async fn set_pairs(
    conn: &mut PgConnection,
    pairs: &[(Uuid, Uuid)],
) -> Result<(), sqlx::Error> {
    sqlx::query("DELETE FROM incompatible_families").execute(&mut *conn).await?;
    for (one, other) in pairs {
        let (one, other) = if one < other { (one, other) } else { (other, one) };
        sqlx::query("INSERT INTO incompatible_families (one_id, other_id) VALUES ($1, $2) ON CONFLICT DO NOTHING")
            .bind(one)
            .bind(other)
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}
