//! Everything a database holds, in a form that can be compared.

use std::collections::BTreeMap;

use sqlx::{AssertSqlSafe, PgPool};

/// For each table, the number of its rows and a sum over all of them.
pub(crate) async fn everything(pool: &PgPool) -> BTreeMap<String, (i64, String)> {
    let tables: Vec<String> = sqlx::query_scalar(
        "SELECT format('%I.%I', schemaname, tablename) FROM pg_tables \
         WHERE schemaname NOT IN ('pg_catalog', 'information_schema')",
    )
    .fetch_all(pool)
    .await
    .unwrap();
    let mut all = BTreeMap::new();
    for table in tables {
        let sql = format!(
            "SELECT count(*), coalesce(md5(string_agg(md5(t::text), '' ORDER BY md5(t::text))), '') \
             FROM {table} t"
        );
        let found = sqlx::query_as(AssertSqlSafe(sql)).fetch_one(pool).await.unwrap();
        all.insert(table, found);
    }
    all
}
