//! What pages read about pieces, beside their route cards.

use sqlx::PgPool;

use super::model::Stage;

/// The words offered for a failure at a stage; others may be typed.
pub async fn causes(pool: &PgPool, stage: Stage) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar("SELECT name FROM causes WHERE stage = $1 ORDER BY n, name")
        .bind(stage)
        .fetch_all(pool)
        .await
}
