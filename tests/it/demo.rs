//! The demo studio: made at any hour of any day, and shows what the program can do.

use pourday::clock::Moment;
use pourday::demo;
use sqlx::PgPool;

use crate::support::database::TestDatabase;
use crate::support::studio::moment;

async fn made(now: Moment) -> TestDatabase {
    let database = TestDatabase::new().await;
    let told = demo::make(&database.pool, now, "vise-crucible-quench-595", |_| {}).await;
    let broke_off = told.unwrap_or_else(|fault| panic!("made at {now}: {fault}"));
    assert!(broke_off.is_none(), "made at {now}: {broke_off:?}");
    database
}

async fn count(pool: &PgPool, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(pool).await.unwrap()
}

/// Whoever works, works in the studio's hours; clients write in the evening, too.
async fn nobody_works_at_night(pool: &PgPool, now: Moment) {
    let odd: Vec<(String, String)> = sqlx::query_as(
        "SELECT kind, (at AT TIME ZONE 'Europe/Lisbon')::text FROM piece_events
         WHERE person_id IS NOT NULL AND (extract(isodow FROM at AT TIME ZONE 'Europe/Lisbon') = 7
             OR (at AT TIME ZONE 'Europe/Lisbon')::time NOT BETWEEN '07:55' AND '18:30') ORDER BY at",
    )
    .fetch_all(pool)
    .await
    .unwrap();
    assert!(odd.is_empty(), "made at {now}: {odd:?}");
    let to_come = "SELECT count(*) FROM piece_events WHERE at > $1";
    let to_come: i64 = sqlx::query_scalar(to_come).bind(now).fetch_one(pool).await.unwrap();
    assert_eq!(to_come, 0, "made at {now}");
}

/// No clock was forgotten: what is up is up just now, or can wait until somebody comes.
async fn no_clock_was_forgotten(pool: &PgPool, now: Moment) {
    let forgotten: Vec<(String, String)> = sqlx::query_as(
        "SELECT subject, name FROM timers WHERE ended_at IS NULL AND due_at < $1
           AND name NOT IN ('Print', 'burnout')",
    )
    .bind(now.plus_minutes(-30))
    .fetch_all(pool)
    .await
    .unwrap();
    assert!(forgotten.is_empty(), "made at {now}: {forgotten:?}");
}

/// Every page that learns has something to learn from.
async fn there_is_something_to_see(pool: &PgPool, now: Moment) {
    for (what, least, sql) in [
        ("promises", 12, "SELECT count(*) FROM promises"),
        ("orders handed over", 12, "SELECT count(*) FROM orders WHERE state = 'handed_over'"),
        ("orders under way", 6, "SELECT count(*) FROM orders WHERE state IN ('agreed', 'ready')"),
        ("forecasts", 40, "SELECT count(*) FROM forecasts"),
        (
            "verdicts on feeding",
            2,
            "SELECT count(DISTINCT verdict) FROM forecasts WHERE what = 'feed'",
        ),
        (
            "verdicts on filling",
            2,
            "SELECT count(DISTINCT verdict) FROM forecasts WHERE what = 'fill'",
        ),
        ("causes", 10, "SELECT count(DISTINCT cause) FROM attempts WHERE outcome = 'failed'"),
        (
            "stages that fail",
            6,
            "SELECT count(DISTINCT failed_at_stage) FROM attempts WHERE outcome = 'failed'",
        ),
        (
            "weeks",
            7,
            "SELECT count(DISTINCT date_trunc('week', ended_at)) FROM attempts WHERE ended_at IS NOT NULL",
        ),
        ("printers", 2, "SELECT count(DISTINCT printer_id) FROM plates"),
        ("lots of resin", 3, "SELECT count(DISTINCT resin_lot_id) FROM plates"),
        ("findings", 5, "SELECT count(*) FROM findings"),
        ("trials that ended", 1, "SELECT count(*) FROM trials WHERE ended_at IS NOT NULL"),
        ("trials under way", 1, "SELECT count(*) FROM trials WHERE ended_at IS NULL"),
        ("usual choices", 1, "SELECT count(*) FROM setting_defaults"),
        ("photos for clients", 2, "SELECT count(*) FROM photos WHERE shared"),
        ("stock takes", 1, "SELECT count(*) FROM metal_batches WHERE kind = 'counted'"),
        ("lots of metal", 6, "SELECT count(*) FROM metal_lots"),
        (
            "flasks of bronze",
            5,
            "SELECT count(*) FROM flasks f JOIN alloys a ON a.id = f.alloy_id WHERE a.name = 'Silicon bronze' AND f.state = 'divested'",
        ),
        ("minutes of finishing", 10, "SELECT count(DISTINCT minutes) FROM finishing WHERE passed"),
    ] {
        let found = count(pool, sql).await;
        assert!(found >= least, "made at {now}: {found} {what}, not {least}");
    }
}

async fn held_and_late(pool: &PgPool) -> (i64, i64) {
    let of = "SELECT count(*) FILTER (WHERE ready <= day), count(*) FILTER (WHERE ready > day) FROM (
        SELECT p.promised_on AS day, (SELECT max(s.finished_at) FROM pieces x JOIN attempts a ON a.piece_id = x.id
            JOIN attempt_stages s ON s.attempt_id = a.id AND s.stage = 'finish'
            WHERE x.order_id = o.id AND a.outcome = 'good')::date AS ready
        FROM promises p JOIN orders o ON o.id = p.order_id WHERE o.state = 'handed_over') kept";
    sqlx::query_as(of).fetch_one(pool).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_shows_two_months_of_a_studio() {
    let now = moment("2026-11-25T11:20:00Z");
    let database = made(now).await;
    let pool = &database.pool;
    nobody_works_at_night(pool, now).await;
    no_clock_was_forgotten(pool, now).await;
    there_is_something_to_see(pool, now).await;
    let (held, late) = held_and_late(pool).await;
    assert!(held >= 8 && (1..=3).contains(&late), "{held} held, {late} late");
}

/// Many minutes; run by hand: `cargo test --test it -- --ignored demo::`.
#[tokio::test(flavor = "multi_thread")]
#[ignore = "makes the demo at five more moments"]
async fn the_demo_can_be_made_whenever_somebody_likes() {
    for now in [
        "2026-11-29T14:05:00Z",
        "2026-11-30T03:10:00Z",
        "2026-11-30T08:12:00Z",
        "2026-11-28T11:00:00Z",
        "2026-11-27T22:40:00Z",
    ] {
        let now = moment(now);
        let database = made(now).await;
        nobody_works_at_night(&database.pool, now).await;
        no_clock_was_forgotten(&database.pool, now).await;
        there_is_something_to_see(&database.pool, now).await;
    }
}
