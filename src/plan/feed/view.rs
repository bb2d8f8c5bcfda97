//! What a feed reads: loads with their pours, and the days on which orders are due.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::id::{KilnLoadId, OrderId};

/// A load with its pours.
#[derive(Debug, FromRow)]
pub(super) struct LoadRow {
    pub(super) id: KilnLoadId,
    pub(super) number: i32,
    pub(super) kiln: String,
    pub(super) family: String,
    pub(super) starts: Moment,
    pub(super) held: Moment,
    pub(super) first_pour: Option<Moment>,
    pub(super) last_pour: Option<Moment>,
    pub(super) flasks: Vec<String>,
}

/// An order that is due.
#[derive(Debug, FromRow)]
pub(super) struct DueRow {
    pub(super) id: OrderId,
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) client: String,
    pub(super) due_on: Day,
}

/// Loads that begin or began from a moment on.
pub(super) async fn loads(pool: &PgPool, from: Moment) -> Result<Vec<LoadRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT l.id, l.number, k.name AS kiln, b.name AS family, coalesce(l.started_at, l.planned_start_at) AS starts,
                coalesce(l.held_at, l.planned_held_at) AS held, min(coalesce(p.poured_at, lf.planned_pour_at)) AS first_pour,
                max(coalesce(p.poured_at, lf.planned_pour_at)) AS last_pour,
                array_agg(f.number || ' ' || a.name ORDER BY lf.planned_pour_at, f.number) AS flasks
         FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id JOIN burnout_families b ON b.id = l.family_id
         JOIN kiln_load_flasks lf ON lf.kiln_load_id = l.id AND (lf.left_at IS NULL OR l.state = 'ended')
         JOIN flasks f ON f.id = lf.flask_id JOIN alloys a ON a.id = f.alloy_id
         LEFT JOIN pours p ON p.flask_id = f.id AND p.kiln_load_id = l.id
         WHERE l.state <> 'cancelled' AND coalesce(l.started_at, l.planned_start_at) > $1
         GROUP BY l.id, k.id, b.id ORDER BY starts LIMIT 2000",
    )
    .bind(from)
    .fetch_all(pool)
    .await
}

/// Orders that are being made, or wait to be handed over, and are due on a day.
pub(super) async fn due(pool: &PgPool) -> Result<Vec<DueRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT o.id, o.number, o.title, c.name AS client, o.due_on FROM orders o JOIN clients c ON c.id = o.client_id
         WHERE o.state IN ('agreed', 'ready') AND o.due_on IS NOT NULL ORDER BY o.due_on LIMIT 2000",
    )
    .fetch_all(pool)
    .await
}
