//! The table of tickets.

use std::collections::HashMap;

use sqlx::PgPool;

use super::code::Code;
use crate::clock::Moment;

/// The codes of some subjects, such as `piece:1042-3`; those that have none yet get one, for good.
pub async fn codes(
    pool: &PgPool,
    subjects: &[String],
    now: Moment,
) -> Result<HashMap<String, Code>, sqlx::Error> {
    let fresh: Vec<String> = subjects.iter().map(|_| Code::random().as_str().to_owned()).collect();
    // Two who print at once agree: the first code of a subject stays.
    sqlx::query(
        "INSERT INTO tickets (code, subject, made_at)
         SELECT s.code, s.subject, $3 FROM unnest($1::text[], $2::text[]) s (code, subject)
         WHERE NOT EXISTS (SELECT 1 FROM tickets t WHERE t.subject = s.subject)
         ON CONFLICT DO NOTHING",
    )
    .bind(&fresh)
    .bind(subjects)
    .bind(now)
    .execute(pool)
    .await?;
    let rows: Vec<(String, String)> =
        sqlx::query_as("SELECT subject, code FROM tickets WHERE subject = ANY($1)")
            .bind(subjects)
            .fetch_all(pool)
            .await?;
    Ok(rows.into_iter().filter_map(|(subject, code)| Some((subject, code.parse().ok()?))).collect())
}

/// What a code is tied to.
pub(super) async fn subject(pool: &PgPool, code: &Code) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar("SELECT subject FROM tickets WHERE code = $1")
        .bind(code.as_str())
        .fetch_optional(pool)
        .await
}
