//! What Today reads, from all over the studio.

use sqlx::{FromRow, PgPool};

use crate::clock::{Day, Moment};
use crate::pieces::{Stage, Standing};
use crate::promises::{self, UNLIKELY};

/// How many pieces are at a stage.
#[derive(Clone, Copy, Debug)]
pub(super) struct AtStage {
    pub(super) stage: Stage,
    pub(super) waiting: i64,
    pub(super) in_hand: i64,
}

#[derive(FromRow)]
struct CountRow {
    stage: Stage,
    standing: Standing,
    n: i64,
}

pub(super) async fn at_stages(pool: &PgPool) -> Result<Vec<AtStage>, sqlx::Error> {
    let rows: Vec<CountRow> = sqlx::query_as(
        "SELECT stage::text AS stage, standing, count(*) AS n FROM pieces
         WHERE standing IN ('waiting', 'in_hand') GROUP BY stage, standing",
    )
    .fetch_all(pool)
    .await?;
    let count = |stage: Stage, standing: Standing| {
        rows.iter()
            .find(|row| row.stage == stage && row.standing == standing)
            .map_or(0, |row| row.n)
    };
    Ok(Stage::ALL
        .into_iter()
        .map(|stage| AtStage {
            stage,
            waiting: count(stage, Standing::Waiting),
            in_hand: count(stage, Standing::InHand),
        })
        .collect())
}

/// Something that asks to be done, with when it asks.
#[derive(Clone, Debug, FromRow)]
pub(super) struct Task {
    pub(super) words: String,
    pub(super) place: String,
    pub(super) at: Option<Moment>,
}

/// What comes next at the bench, the most pressing first: hot flasks, clocks
/// that end, loads to start, castings to cut off, then what waits.
pub(super) async fn tasks(pool: &PgPool, now: Moment) -> Result<Vec<Task>, sqlx::Error> {
    sqlx::query_as(
        "SELECT words, place, at FROM (
            SELECT 1 AS rank, 'Pour flask ' || f.number || ' in ' || a.name AS words, '/pours' AS place, lf.planned_pour_at AS at
            FROM flasks f JOIN alloys a ON a.id = f.alloy_id
            JOIN kiln_load_flasks lf ON lf.flask_id = f.id AND lf.left_at IS NULL WHERE f.state = 'hot'
            UNION ALL
            SELECT 2, 'Load ' || l.number || ' in ' || k.name || ' reaches its hold', '/loads/' || l.number,
                   coalesce((SELECT min(due_at) FROM timers WHERE subject = 'load:' || l.number AND ended_at IS NULL),
                            l.started_at + (l.planned_held_at - l.planned_start_at) - make_interval(mins => s.load_min))
            FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id CROSS JOIN studio s WHERE l.state = 'burning'
            UNION ALL
            SELECT 3, 'Load ' || l.number || ' goes into ' || k.name, '/loads/' || l.number, l.planned_start_at
            FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.state = 'planned'
            UNION ALL
            SELECT 4, 'Flask ' || number || ': quench, divest, cut off', '/flasks/' || number, quench.quench_at
            FROM flasks JOIN LATERAL (SELECT quench_at FROM pours p WHERE p.flask_id = flasks.id) quench ON true
            WHERE state = 'poured'
            UNION ALL
            SELECT 2, 'Flask ' || number || ': the mixing clock runs', '/flasks/' || number, mix_started_at
            FROM flasks WHERE state = 'mixing'
            UNION ALL
            SELECT 3, 'Plate ' || p.number || ' on ' || r.name || ' is done', '/plates/' || p.number,
                   p.started_at + make_interval(mins => coalesce(p.estimated_min, 0)::int)
            FROM plates p JOIN printers r ON r.id = p.printer_id WHERE p.state = 'printing'
            UNION ALL
            SELECT 2, 'Cure batch ' || c.number || CASE c.state WHEN 'washing' THEN ': out of the wash' ELSE ': cured' END,
                   '/cure/' || c.number, (SELECT min(due_at) FROM timers WHERE subject = 'cure:' || c.number AND ended_at IS NULL)
            FROM cure_batches c WHERE c.state IN ('washing', 'curing')
            UNION ALL
            SELECT 5, 'Flask ' || f.number || ' has set: plan its burnout, to be fired by', '/plan', f.latest_start_at
            FROM flasks f WHERE f.state = 'setting' AND f.set_from_at <= $1
              AND NOT EXISTS (SELECT 1 FROM kiln_load_flasks lf WHERE lf.flask_id = f.id AND lf.left_at IS NULL)
            UNION ALL
            SELECT 6, 'Mix for flask ' || number, '/flasks/' || number, NULL FROM flasks WHERE state = 'weighed'
            UNION ALL
            SELECT 7, 'Weigh the tree of flask ' || number, '/flasks/' || number, NULL FROM flasks WHERE state = 'treeing'
        ) every_task ORDER BY rank > 4, at NULLS LAST, rank LIMIT 40",
    )
    .bind(now)
    .fetch_all(pool)
    .await
}

/// An order that is late, due soon, or ready to go.
#[derive(Clone, Debug, FromRow)]
pub(super) struct OrderRow {
    pub(super) number: i32,
    pub(super) title: String,
    pub(super) client: String,
    pub(super) due_on: Option<Day>,
    pub(super) pieces: i64,
    pub(super) ready: i64,
    /// How likely the day is, as last reckoned.
    pub(super) chance: Option<f64>,
}

impl OrderRow {
    /// The chance of a day that is more likely missed than kept.
    pub(super) fn at_risk(&self) -> Option<f64> {
        promises::at_risk(self.chance)
    }
}

const ORDERS: &str = "SELECT o.number, o.title, c.name AS client, o.due_on, count(p.id) AS pieces,
        count(p.id) FILTER (WHERE p.standing IN ('ready', 'handed_over')) AS ready, r.chance
    FROM orders o JOIN clients c ON c.id = o.client_id
    LEFT JOIN order_chances r ON r.order_id = o.id AND r.day = o.due_on
    LEFT JOIN pieces p ON p.order_id = o.id AND p.standing <> 'cancelled'";

/// Agreed orders due by a day, and those whose day is at risk, the latest first.
pub(super) async fn due_by(pool: &PgPool, day: Day) -> Result<Vec<OrderRow>, sqlx::Error> {
    let sql = format!(
        "{ORDERS} WHERE o.state = 'agreed' AND (o.due_on <= $1 OR r.chance < $2)
         GROUP BY o.id, c.name, r.chance ORDER BY o.due_on, o.number LIMIT 50"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).bind(day).bind(UNLIKELY).fetch_all(pool).await
}

/// Orders whose pieces are all ready.
pub(super) async fn ready(pool: &PgPool) -> Result<Vec<OrderRow>, sqlx::Error> {
    let sql = format!(
        "{ORDERS} WHERE o.state = 'ready' GROUP BY o.id, c.name, r.chance ORDER BY o.due_on NULLS LAST LIMIT 50"
    );
    sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_all(pool).await
}

/// How many orders wait for a price, and how many for the client.
pub(super) async fn talked_about(pool: &PgPool) -> Result<(i64, i64), sqlx::Error> {
    sqlx::query_as(
        "SELECT count(*) FILTER (WHERE state = 'enquiry'), count(*) FILTER (WHERE state = 'quoted') FROM orders",
    )
    .fetch_one(pool)
    .await
}

/// What waits for somebody at a desk.
#[derive(Clone, Copy, Debug, FromRow)]
pub(super) struct Paperwork {
    /// Orders whose client waits for an answer.
    pub(super) asked: i64,
    /// Letters that did not get away.
    pub(super) stuck: i64,
    /// Invoices that should have been paid.
    pub(super) overdue: i64,
}

pub(super) async fn paperwork(pool: &PgPool, today: Day) -> Result<Paperwork, sqlx::Error> {
    sqlx::query_as(
        "SELECT (SELECT count(DISTINCT order_id) FROM questions WHERE settled_at IS NULL AND person_id IS NULL) AS asked,
                (SELECT count(*) FROM outbox WHERE state = 'given_up' OR (state = 'waiting' AND trouble <> '')) AS stuck,
                (SELECT count(*) FROM entry_balances b JOIN invoices i ON i.id = b.entry_id
                 WHERE b.settled < b.amount AND i.kind = 'invoice' AND i.due_on < $1) AS overdue",
    )
    .bind(today)
    .fetch_one(pool)
    .await
}
