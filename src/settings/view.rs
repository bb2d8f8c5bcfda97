//! What the way to everything that is set once shows.

use sqlx::{FromRow, PgPool};

/// How many there are in use of each.
#[derive(Debug, FromRow)]
pub(super) struct Counts {
    pub(super) kilns: i64,
    pub(super) flask_types: i64,
    pub(super) resins: i64,
    pub(super) printers: i64,
    pub(super) investments: i64,
    pub(super) alloys: i64,
    pub(super) families: i64,
    pub(super) people: i64,
    pub(super) clients: i64,
    pub(super) open_days: i64,
}

pub(super) async fn counts(pool: &PgPool) -> Result<Counts, sqlx::Error> {
    sqlx::query_as(
        "SELECT (SELECT count(*) FROM kilns WHERE retired_at IS NULL) AS kilns,
                (SELECT count(*) FROM flask_types WHERE retired_at IS NULL) AS flask_types,
                (SELECT count(*) FROM resins WHERE retired_at IS NULL) AS resins,
                (SELECT count(*) FROM printers WHERE retired_at IS NULL) AS printers,
                (SELECT count(*) FROM investments WHERE retired_at IS NULL) AS investments,
                (SELECT count(*) FROM alloys WHERE retired_at IS NULL) AS alloys,
                (SELECT count(*) FROM burnout_families WHERE retired_at IS NULL) AS families,
                (SELECT count(*) FROM people WHERE left_at IS NULL) AS people,
                (SELECT count(*) FROM clients WHERE archived_at IS NULL) AS clients,
                (SELECT count(DISTINCT weekday) FROM working_hours) AS open_days",
    )
    .fetch_one(pool)
    .await
}
