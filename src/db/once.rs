//! One outcome for a form that arrives twice.
//!
//! Every form carries a key. The key goes into the database in the transaction
//! that does the work, together with the place the work led to; a second
//! arrival waits for the first and is led to the same place.

use sqlx::{PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::clock::Moment;

/// What became of a form's key.
#[derive(Debug)]
pub enum Begun {
    /// The form is new: do the work in this transaction and finish with [`Work::commit`].
    First(Work),
    /// The form was dealt with before and led here.
    Again(String),
}

/// A transaction that carries a form's key.
#[derive(Debug)]
pub struct Work {
    /// The transaction to work in.
    pub tx: Transaction<'static, Postgres>,
    key: Uuid,
}

/// Begins the work of a form, unless its key has been seen.
pub async fn begin(pool: &PgPool, key: Uuid, now: Moment) -> Result<Begun, sqlx::Error> {
    let mut tx = pool.begin().await?;
    let taken = sqlx::query(
        "INSERT INTO once (key, at, location) VALUES ($1, $2, '') ON CONFLICT (key) DO NOTHING",
    )
    .bind(key)
    .bind(now)
    .execute(&mut *tx)
    .await?;
    if taken.rows_affected() == 1 {
        return Ok(Begun::First(Work { tx, key }));
    }
    let location = sqlx::query_scalar("SELECT location FROM once WHERE key = $1")
        .bind(key)
        .fetch_one(&mut *tx)
        .await?;
    Ok(Begun::Again(location))
}

impl Work {
    /// Commits the work and keeps where it led, for a form that arrives again.
    pub async fn commit(mut self, location: &str) -> Result<(), sqlx::Error> {
        sqlx::query("UPDATE once SET location = $2 WHERE key = $1")
            .bind(self.key)
            .bind(location)
            .execute(&mut *self.tx)
            .await?;
        self.tx.commit().await
    }
}

/// Forgets keys that no browser will send again.
pub async fn forget_before(pool: &PgPool, moment: Moment) -> Result<u64, sqlx::Error> {
    let gone = sqlx::query("DELETE FROM once WHERE at < $1").bind(moment).execute(pool).await?;
    Ok(gone.rows_affected())
}
