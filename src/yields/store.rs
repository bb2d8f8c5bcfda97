//! The counts by day: those marked since are counted again before anything is read.

use sqlx::{AssertSqlSafe, PgConnection, PgPool};

use super::by::By;
use crate::clock::Day;
use crate::steps;

/// So many days are counted before a page is shown, the latest first: those of the taps just made.
const DAYS_BEFORE_A_PAGE: i64 = 2;

/// So many days are counted in one go while pages go on.
const DAYS_AT_ONCE: i64 = 14;

/// Any number; held while days are counted, so that two readers do not count the same.
const COUNTING: i64 = 0x706f_7572_6461_7901;

/// What has come out on the days `$1`, by attempt and stage; the whole way is no stage.
const SETTLED: &str = "days AS (SELECT d AS on_day, d::timestamp AT TIME ZONE z.zone AS from_at, (d + 1)::timestamp AT TIME ZONE z.zone AS to_at
        FROM unnest($1::date[]) d, (SELECT coalesce((SELECT time_zone FROM studio), 'UTC') AS zone) z),
    b AS (SELECT on_day, attempt_id, stage::text AS stage, failed_at IS NOT NULL AS bad FROM days JOIN attempt_stages
            ON coalesce(failed_at, finished_at) >= from_at AND coalesce(failed_at, finished_at) < to_at
        UNION ALL
        SELECT on_day, id, '', outcome = 'failed' FROM days JOIN attempts
            ON ended_at >= from_at AND ended_at < to_at AND outcome IN ('good', 'failed'))";

/// The batches that an attempt `b` went through. What was taken off a plate before it was
/// printed, or off a flask before it was filled, was not on it.
const BATCHES: &str = "LEFT JOIN LATERAL (SELECT p.resin_lot_id, p.printer_id, p.layer_um, p.exposure_s, p.supports, p.first_contact, p.orientation
        FROM plate_pieces x JOIN plates p ON p.id = x.plate_id
        WHERE x.attempt_id = b.attempt_id AND p.state IN ('printing', 'done') AND (x.left_at IS NULL OR x.left_at > p.started_at)
        ORDER BY p.started_at DESC LIMIT 1) plate ON true
    LEFT JOIN LATERAL (SELECT c.medium FROM cure_batch_pieces x JOIN cure_batches c ON c.id = x.cure_batch_id
        WHERE x.attempt_id = b.attempt_id AND c.state IN ('washing', 'curing', 'done') AND (x.left_at IS NULL OR x.left_at >= c.ended_at)
        ORDER BY c.number DESC LIMIT 1) cure ON true
    LEFT JOIN LATERAL (SELECT f.investment_id, f.family_id, x.sprues, x.sprue_diameter_mm FROM flask_pieces x JOIN flasks f ON f.id = x.flask_id
        WHERE x.attempt_id = b.attempt_id AND f.state <> 'cancelled' AND (x.left_at IS NULL OR x.left_at > f.mixed_at)
        ORDER BY f.created_at DESC LIMIT 1) flask ON true
    LEFT JOIN LATERAL (SELECT l.kiln_id, lf.x_mm, lf.y_mm, k.width_mm, k.depth_mm
        FROM flask_pieces x JOIN flasks f ON f.id = x.flask_id JOIN kiln_load_flasks lf ON lf.flask_id = f.id
        JOIN kiln_loads l ON l.id = lf.kiln_load_id JOIN kilns k ON k.id = l.kiln_id
        WHERE x.attempt_id = b.attempt_id AND (x.left_at IS NULL OR x.left_at > f.mixed_at)
          AND (lf.left_at IS NULL OR lf.left_at > l.started_at) AND l.started_at IS NOT NULL
        ORDER BY l.started_at DESC LIMIT 1) load ON true";

/// What was chosen at the steps of the batches that an attempt was in, all choices `$2` at once;
/// of a step that was done again the last time counts.
const CHOSEN: &str = "a AS (SELECT DISTINCT attempt_id FROM b),
    was_in AS (
        SELECT a.attempt_id, 'plate:' || p.number AS subject FROM a JOIN plate_pieces x ON x.attempt_id = a.attempt_id JOIN plates p ON p.id = x.plate_id
            WHERE p.state IN ('printing', 'done') AND (x.left_at IS NULL OR x.left_at > p.started_at)
        UNION ALL SELECT a.attempt_id, 'cure:' || c.number FROM a JOIN cure_batch_pieces x ON x.attempt_id = a.attempt_id
            JOIN cure_batches c ON c.id = x.cure_batch_id WHERE c.state IN ('washing', 'curing', 'done') AND (x.left_at IS NULL OR x.left_at >= c.ended_at)
        UNION ALL SELECT a.attempt_id, 'flask:' || f.number FROM a JOIN flask_pieces x ON x.attempt_id = a.attempt_id JOIN flasks f ON f.id = x.flask_id
            WHERE f.state <> 'cancelled' AND (x.left_at IS NULL OR x.left_at > f.mixed_at)
        UNION ALL SELECT a.attempt_id, 'load:' || l.number FROM a JOIN flask_pieces x ON x.attempt_id = a.attempt_id JOIN flasks f ON f.id = x.flask_id
            JOIN kiln_load_flasks lf ON lf.flask_id = f.id JOIN kiln_loads l ON l.id = lf.kiln_load_id
            WHERE l.started_at IS NOT NULL AND (x.left_at IS NULL OR x.left_at > f.mixed_at) AND (lf.left_at IS NULL OR lf.left_at > l.started_at)),
    done AS (SELECT w.attempt_id, s.stage, s.step, s.told, s.at FROM was_in w JOIN bench_steps s ON s.subject = w.subject
            WHERE s.taken_back_at IS NULL AND s.attempt_id IS NULL
        UNION ALL SELECT a.attempt_id, s.stage, s.step, s.told, s.at FROM a JOIN bench_steps s ON s.attempt_id = a.attempt_id WHERE s.taken_back_at IS NULL),
    chosen AS (SELECT DISTINCT ON (d.attempt_id, by) d.attempt_id, d.stage || '-' || d.step || '-' || e.key AS by, e.value AS what
        FROM done d CROSS JOIN LATERAL jsonb_each_text(d.told) e
        WHERE d.stage || '-' || d.step || '-' || e.key = ANY($2) ORDER BY d.attempt_id, by, d.at DESC)
    INSERT INTO yield_counts (on_day, stage, by, what, good, bad)
        SELECT b.on_day, b.stage, c.by, c.what, count(*) FILTER (WHERE NOT b.bad), count(*) FILTER (WHERE b.bad)
        FROM b JOIN chosen c ON c.attempt_id = b.attempt_id GROUP BY b.on_day, b.stage, c.by, c.what";

/// Counts the latest marked days again before a page is shown; says whether older ones are left.
/// Mostly nothing is marked, or today. Many days are at a first start and when the studio moves to
/// another zone: nobody waits for those, they are counted beside the pages.
pub(super) async fn count_latest(pool: &PgPool) -> Result<bool, sqlx::Error> {
    count_some(pool, DAYS_BEFORE_A_PAGE).await
}

/// Counts all marked days again, the latest first.
pub(super) async fn count_all(pool: &PgPool) -> Result<(), sqlx::Error> {
    while count_some(pool, DAYS_AT_ONCE).await? {}
    Ok(())
}

/// Counts the latest marked days; says whether others are left.
async fn count_some(pool: &PgPool, days: i64) -> Result<bool, sqlx::Error> {
    // Mostly nothing is marked, and nobody waits for anybody.
    let marked = "SELECT EXISTS (SELECT 1 FROM yield_marks)";
    if !sqlx::query_scalar::<_, bool>(marked).fetch_one(pool).await? {
        return Ok(false);
    }
    let mut tx = pool.begin().await?;
    if !mine(&mut tx, days).await? {
        return Ok(true);
    }
    // A mark that is not committed yet is not seen, and stays for the next reader.
    let days: Vec<Day> = sqlx::query_scalar(
        "WITH chosen AS (SELECT DISTINCT on_day FROM yield_marks ORDER BY on_day DESC LIMIT $1),
              taken AS (DELETE FROM yield_marks m USING chosen WHERE m.on_day = chosen.on_day)
         SELECT on_day FROM chosen",
    )
    .bind(days)
    .fetch_all(&mut *tx)
    .await?;
    sqlx::query("DELETE FROM yield_counts WHERE on_day = ANY($1)")
        .bind(&days)
        .execute(&mut *tx)
        .await?;
    sqlx::query(AssertSqlSafe(counting())).bind(&days).execute(&mut *tx).await?;
    let choices: Vec<String> = steps::choices().map(|choice| choice.name()).collect();
    let sql = format!("WITH {SETTLED}, {CHOSEN}");
    sqlx::query(AssertSqlSafe(sql)).bind(&days).bind(choices).execute(&mut *tx).await?;
    tx.commit().await?;
    sqlx::query_scalar(marked).fetch_one(pool).await
}

/// Waits until nobody else counts, unless more days are marked than were to be counted: then
/// somebody is at them, and a page does not wait.
async fn mine(conn: &mut PgConnection, days: i64) -> Result<bool, sqlx::Error> {
    let tried = sqlx::query_scalar("SELECT pg_try_advisory_xact_lock($1)");
    if tried.bind(COUNTING).fetch_one(&mut *conn).await? {
        return Ok(true);
    }
    let marked = "SELECT count(DISTINCT on_day) FROM yield_marks";
    if days < DAYS_AT_ONCE
        && sqlx::query_scalar::<_, i64>(marked).fetch_one(&mut *conn).await? > days
    {
        return Ok(false);
    }
    sqlx::query("SELECT pg_advisory_xact_lock($1)").bind(COUNTING).execute(conn).await?;
    Ok(true)
}

/// Counts the days `$1` by everything that pieces and their batches have of themselves: the
/// batches of an attempt are looked up once, whatever they tell and however many stages it came
/// through.
fn counting() -> String {
    let (of_attempt, of_record): (Vec<By>, Vec<By>) =
        By::OF_BATCHES.into_iter().partition(|by| by.is_of_attempt());
    let pairs = |all: Vec<By>| {
        let pair = |by: By| format!("('{}', {})", by.name(), by.group());
        all.into_iter().map(pair).collect::<Vec<_>>().join(", ")
    };
    format!(
        "WITH {SETTLED},
         g AS MATERIALIZED (SELECT b.attempt_id, each.by, each.what FROM (SELECT DISTINCT attempt_id FROM b) b {BATCHES}
             CROSS JOIN LATERAL (VALUES {}) each(by, what) WHERE each.what IS NOT NULL),
         told AS (SELECT b.on_day, b.stage, g.by, g.what, b.bad FROM b JOIN g ON g.attempt_id = b.attempt_id
             UNION ALL SELECT on_day, stage, '', '', bad FROM b
             UNION ALL SELECT b.on_day, b.stage, each.by, each.what, b.bad FROM b
                 CROSS JOIN LATERAL (VALUES {}) each(by, what) WHERE each.what IS NOT NULL)
         INSERT INTO yield_counts (on_day, stage, by, what, good, bad)
         SELECT on_day, stage, by, what, count(*) FILTER (WHERE NOT bad), count(*) FILTER (WHERE bad)
         FROM told GROUP BY on_day, stage, by, what",
        pairs(of_attempt),
        pairs(of_record)
    )
}
