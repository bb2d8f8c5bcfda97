//! Private addresses that calendars read.

use sqlx::{FromRow, PgConnection, PgExecutor};

use crate::clock::Moment;
use crate::id::{FeedId, PersonId};

/// Somebody's feed.
#[derive(Clone, Debug, FromRow)]
pub(in crate::plan) struct FeedRow {
    pub(in crate::plan) id: FeedId,
    pub(in crate::plan) made_at: Moment,
    pub(in crate::plan) read_at: Option<Moment>,
}

/// The feed of a person that works.
pub(in crate::plan) async fn feed_of(
    db: impl PgExecutor<'_>,
    person: PersonId,
) -> Result<Option<FeedRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, made_at, read_at FROM calendar_feeds WHERE made_by = $1 AND revoked_at IS NULL",
    )
    .bind(person)
    .fetch_optional(db)
    .await
}

/// Notes that a feed was read; false when it is not to be read any more, as when whoever made it
/// has left the studio.
pub(in crate::plan) async fn note_feed_read(
    db: impl PgExecutor<'_>,
    id: FeedId,
    now: Moment,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE calendar_feeds f SET read_at = $2 FROM people p
         WHERE f.id = $1 AND f.revoked_at IS NULL AND p.id = f.made_by AND p.left_at IS NULL",
    )
    .bind(id)
    .bind(now)
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Ends somebody's feed.
pub(in crate::plan) async fn revoke_feed(
    conn: &mut PgConnection,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "UPDATE calendar_feeds SET revoked_at = $2 WHERE made_by = $1 AND revoked_at IS NULL",
    )
    .bind(person)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Gives somebody a feed.
pub(in crate::plan) async fn insert_feed(
    conn: &mut PgConnection,
    person: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO calendar_feeds (id, made_by, made_at) VALUES ($1, $2, $3)")
        .bind(FeedId::new())
        .bind(person)
        .bind(now)
        .execute(conn)
        .await?;
    Ok(())
}
