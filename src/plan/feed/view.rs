//! What a feed holds: loads, their pours, and the days on which orders are due.

use sqlx::{FromRow, PgConnection, PgExecutor, PgPool};

use super::text::{Event, When};
use crate::clock::{Day, Moment};
use crate::id::{FeedId, KilnLoadId, OrderId, PersonId};
use crate::studio::Settings;

/// How far back a feed reaches, in days.
const BACK: i64 = 14;

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
pub(super) async fn note_read(
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

pub(super) async fn revoke(
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

pub(super) async fn insert(
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

#[derive(Debug, FromRow)]
struct LoadRow {
    id: KilnLoadId,
    number: i32,
    kiln: String,
    family: String,
    starts: Moment,
    held: Moment,
    first_pour: Option<Moment>,
    last_pour: Option<Moment>,
    flasks: Vec<String>,
}

#[derive(Debug, FromRow)]
struct DueRow {
    id: OrderId,
    number: i32,
    title: String,
    client: String,
    due_on: Day,
}

/// The studio's name and everything in its calendar.
pub(super) async fn events(
    pool: &PgPool,
    now: Moment,
) -> Result<(String, Vec<Event>), sqlx::Error> {
    let settings = Settings::load(pool).await?;
    let from = now.plus_minutes(-BACK * 1440);
    let loads: Vec<LoadRow> = sqlx::query_as(
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
    .await?;
    let due: Vec<DueRow> = sqlx::query_as(
        "SELECT o.id, o.number, o.title, c.name AS client, o.due_on FROM orders o JOIN clients c ON c.id = o.client_id
         WHERE o.state IN ('agreed', 'ready') AND o.due_on IS NOT NULL ORDER BY o.due_on LIMIT 2000",
    )
    .fetch_all(pool)
    .await?;
    let pour = i64::from(settings.pour_min);
    let mut events = Vec::new();
    for load in loads {
        let flasks = load.flasks.join("\n");
        events.push(Event {
            uid: format!("load-{}@pourday", load.id),
            when: When::From(load.starts, load.held),
            summary: format!("Load {} burns out, {}", load.number, load.family),
            description: flasks.clone(),
            location: load.kiln.clone(),
        });
        if let (Some(first), Some(last)) = (load.first_pour, load.last_pour) {
            let count = load.flasks.len();
            let plural = if count == 1 { "flask" } else { "flasks" };
            events.push(Event {
                uid: format!("pours-{}@pourday", load.id),
                when: When::From(first, last.plus_minutes(pour)),
                summary: format!("Pour {count} {plural} of load {}", load.number),
                description: flasks,
                location: settings.furnace_name.clone(),
            });
        }
    }
    for order in due {
        events.push(Event {
            uid: format!("due-{}@pourday", order.id),
            when: When::On(order.due_on),
            summary: format!("Due: {} {}", order.number, order.title),
            description: order.client,
            location: String::new(),
        });
    }
    Ok((settings.name, events))
}
