//! Who did what and when, beside what the things themselves record.

use serde_json::Value;
use sqlx::PgConnection;

use crate::clock::Moment;
use crate::id::PersonId;

/// Notes an act in the transaction that does it.
pub async fn note(
    conn: &mut PgConnection,
    now: Moment,
    person: Option<PersonId>,
    action: &str,
    subject: &str,
    detail: Value,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO audit (at, person_id, action, subject, detail) VALUES ($1, $2, $3, $4, $5)",
    )
    .bind(now)
    .bind(person)
    .bind(action)
    .bind(subject)
    .bind(detail)
    .execute(conn)
    .await?;
    Ok(())
}
