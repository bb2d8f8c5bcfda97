//! Clocks go on through a reload and a restart, and a second tap does not begin them anew.

use pourday::timers;

use crate::support::studio::Studio;

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_started_twice_runs_once_and_ends_once() {
    let studio = Studio::open().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let now = studio.clock.now();
    let first = timers::start(&mut conn, "cure:31", "Wash", now, 5.0).await.unwrap();
    let again =
        timers::start(&mut conn, "cure:31", "Wash", now.plus_minutes(2), 5.0).await.unwrap();
    assert_eq!(first, again);
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(running.len(), 1);
    assert_eq!(running[0].due_at, now.plus_minutes(5));
    assert_eq!(timers::end(&mut conn, "cure:31", now.plus_minutes(6)).await.unwrap(), 1);
    assert_eq!(timers::end(&mut conn, "cure:31", now.plus_minutes(7)).await.unwrap(), 0);
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    let of = timers::of(&studio.db.pool, "cure:31").await.unwrap();
    assert_eq!(of[0].ended_at, Some(now.plus_minutes(6)));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_of_nonsense_is_due_at_once() {
    let studio = Studio::open().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let now = studio.clock.now();
    timers::start(&mut conn, "flask:201", "Gloss-off", now, f64::NAN).await.unwrap();
    timers::start(&mut conn, "flask:201", "Bench set", now, -3.0).await.unwrap();
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert!(running.iter().all(|timer| timer.due_at == now), "{running:?}");
}
