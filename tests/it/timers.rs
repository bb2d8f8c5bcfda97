//! Clocks go on through a reload and a restart, and a second tap does not begin them anew.

use axum::http::StatusCode;
use pourday::timers;

use crate::support::studio::{Studio, moment};

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

/// A flask that has set; its number.
async fn flask(studio: &Studio) -> i32 {
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql"))
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let labels = studio.pieces(1, None).await;
    studio.flask(&labels, "setting").await
}

#[tokio::test(flavor = "multi_thread")]
async fn no_clock_runs_for_what_is_not_there() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let number = flask(&studio).await;
    let post = async |of: &str| {
        maker.post("/timers", &[("name", "Quench"), ("minutes", "12"), ("of", of)]).await
    };
    for of in ["flask 999", "Load 999", "cure 999", "plate 999"] {
        let refused = post(of).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{of}");
        assert!(refused.body.contains(&format!("There is no {}", of.to_lowercase())), "{of}");
        assert!(refused.body.contains(&format!("value=\"{of}\"")), "what was typed is kept: {of}");
    }
    sqlx::query("UPDATE flasks SET state = 'cancelled'").execute(&studio.db.pool).await.unwrap();
    let gone = post(&format!("flask {number}")).await;
    assert!(gone.body.contains("was given up"), "{}", gone.body);
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    post("flask of tea").await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_is_started_on_one_device_and_stopped_on_another() {
    let studio = Studio::open().await;
    let (one, other) = (studio.maker().await, studio.owner().await);
    let number = flask(&studio).await;
    let of = format!("Flask {number}");
    let form = [("name", "Pickle"), ("minutes", "12"), ("of", of.as_str())];
    assert_eq!(one.post("/timers", &form).await.led_to(), "/timers");
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(running[0].subject, format!("flask:{number}"));
    let page = other.get("/timers").await;
    assert!(page.page().contains("Pickle") && page.body.contains("12:00"));
    studio.clock.set(studio.clock.now().plus_minutes(13));
    let page = one.get("/timers").await;
    assert!(page.page().contains("over by 01:00") && page.body.contains("its time is up"));
    let id = running[0].id;
    other.post(&format!("/timers/{id}/more"), &[("minutes", "5")]).await.led_to();
    let more = timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(more[0].due_at, studio.clock.now().plus_minutes(5), "counted from now");
    let stop = format!("/timers/{id}/stop");
    other.post(&stop, &[]).await.led_to();
    one.post(&stop, &[]).await.led_to();
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    let wrong = one.post("/timers", &[("name", ""), ("minutes", "soon"), ("of", "")]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("“soon” is not a number"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_stopped_by_mistake_runs_on_until_its_thing_has_gone_on() {
    let studio = Studio::open().await;
    let (one, other) = (studio.maker().await, studio.owner().await);
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let now = studio.clock.now();
    let wash = timers::start(&mut conn, "cure:31", "Wash", now, 8.0).await.unwrap();
    studio.clock.set(now.plus_minutes(2));
    let led = one.post(&format!("/timers/{wash}/stop"), &[]).await.led_to().to_owned();
    let page = one.get(&led).await;
    assert!(page.page().contains("Wash, cure 31 was stopped") && page.body.contains("run on"));
    studio.clock.set(now.plus_minutes(3));
    other.post(&format!("/timers/{wash}/run-on"), &[]).await.led_to();
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(running[0].due_at, now.plus_minutes(8), "it ends when it would have ended");
    // The wash is over and the cure has begun: nothing of the wash runs on.
    let now = now.plus_minutes(7);
    timers::end(&mut conn, "cure:31", now).await.unwrap();
    timers::start(&mut conn, "cure:31", "Cure", now, 30.0).await.unwrap();
    studio.clock.set(now.plus_minutes(1));
    let late = one.post(&format!("/timers/{wash}/run-on"), &[]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("has gone on since"), "{}", late.body);
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert!(running.len() == 1 && running[0].name == "Cure");
    // Nor does one that was stopped long ago.
    let cure = running[0].id;
    one.post(&format!("/timers/{cure}/stop"), &[]).await.led_to();
    studio.clock.set(now.plus_minutes(40));
    let late = one.post(&format!("/timers/{cure}/run-on"), &[]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_somebody_works_on_stands_among_the_clocks_and_is_stopped_there() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    studio.in_hand(&labels[0], pourday::pieces::Stage::Finish).await;
    let polished = format!("/steps/finish/{}/polished", labels[0]);
    maker.post(&format!("{polished}/start-clock"), &[]).await.led_to();
    let pass = |minutes: i64| studio.clock.set(studio.clock.now().plus_minutes(minutes));
    pass(6);
    maker.post(&format!("{polished}/stop-clock"), &[]).await.led_to();
    pass(30);
    maker.post(&format!("{polished}/start-clock"), &[]).await.led_to();
    let begun = studio.clock.now();
    pass(4);
    // On Clocks and on Now, with the same figure as on its sheet: ten minutes, without the pause.
    let since = begun.plus_minutes(-6).0.strftime("data-since=\"%Y-%m-%dT%H:%M:%SZ\"").to_string();
    for place in ["/timers", "/now", &format!("/steps/finish/{}", labels[0])] {
        let page = maker.get(place).await;
        assert!(page.page().contains(&since), "{place}: {since}\n{}", page.body);
    }
    let clocks = maker.get("/timers").await;
    assert!(clocks.page().contains("<b>Polished</b>") && !clocks.body.contains("No clock runs"));
    let stop = format!("{polished}?back=clocks");
    assert!(clocks.body.contains(&format!("action=\"{stop}\"")));
    let led = maker.post(&stop, &[]).await.led_to().to_owned();
    assert_eq!(led, format!("/timers?did={polished}"));
    let page = maker.get(&led).await;
    assert!(page.page().contains(&format!("Polished, piece {}: 10 min recorded.", labels[0])));
    let record = page.body.split("name=\"record\" value=\"").nth(1).unwrap();
    let record = record.split('"').next().unwrap();
    let back = format!("{polished}/take-back?back=clocks");
    let led = maker.post(&back, &[("record", record)]).await.led_to().to_owned();
    assert!(maker.get(&led).await.page().contains("stopped at 10 min, not recorded yet"));
    // What was counted by mistake is thrown away.
    maker.post(&format!("{polished}/forget-clock"), &[]).await.led_to();
    let sheet = maker.get(&format!("/steps/finish/{}", labels[0])).await;
    assert!(!sheet.page().contains("value=\"10\"") && !sheet.body.contains("Throw away"));
    assert!(maker.get("/timers").await.page().contains("No clock runs"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_of_the_least_time_is_ready_and_not_late() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let now = studio.clock.now();
    timers::start(&mut conn, "flask:201", "bench set", now, 120.0).await.unwrap();
    studio.clock.set(now.plus_minutes(60));
    let page = maker.get("/timers").await;
    assert!(page.page().contains("1:00:00") && page.body.contains("until Wed"), "{}", page.body);
    studio.clock.set(now.plus_minutes(15 * 60));
    let page = maker.get("/timers").await;
    assert!(page.page().contains(">ready</time>") && page.body.contains("since Wed"));
    assert!(!page.body.contains("over by") && !page.body.contains("its time is up"));
    assert!(!page.body.contains("5 min more"), "what is ready needs no more time");
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_are_told_the_time_and_the_clocks_but_not_steps_that_others_follow() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let now = studio.clock.now();
    for (name, minutes) in [("stir", 3.0), ("vacuum", 5.0), ("pour", 8.0)] {
        timers::start(&mut conn, "flask:201", name, now, minutes).await.unwrap();
    }
    studio.clock.set(now.plus_minutes(4));
    let told = maker.get("/timers/running").await;
    assert!(told.page().starts_with("{\"now\":\"2026-11-25T09:04:00.000Z\""), "{}", told.body);
    assert!(!told.body.contains("stir"), "the step before is passed");
    assert!(told.body.contains("vacuum") && told.body.contains("\"loses\":true"));
    studio.clock.set(now.plus_minutes(20));
    let told = maker.get("/timers/running").await;
    assert!(told.page().contains("pour") && !told.body.contains("vacuum"), "the last one stays");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_step_that_waited_for_a_network_counts_from_when_it_was_tapped() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let body = axum::body::Body::from("name=Soak&minutes=30&of=");
    let request = maker
        .request("POST", "/timers")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-tapped-seconds-ago", "600")
        .body(body)
        .unwrap();
    maker.send(request).await.0.led_to();
    let running = timers::running(&studio.db.pool).await.unwrap();
    assert_eq!(running[0].started_at, studio.clock.now().plus_minutes(-10));
    assert_eq!(running[0].due_at, studio.clock.now().plus_minutes(20));
}

/// A clock of eight hours begun at ten in the evening before the clocks of a place change.
/// The days and hours of the change: for the European Union the last Sunday in March at 01:00
/// UTC, one hour (Directive 2000/84/EC, articles 2 and 3); for the United States the second
/// Sunday in March at 02:00, one hour (Energy Policy Act of 2005, section 110); for Lord Howe
/// Island the first Sunday in April at 02:00, half an hour back (IANA time zone database,
/// rule LH).
#[tokio::test(flavor = "multi_thread")]
async fn clocks_run_through_a_change_of_summer_time() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    for (zone, evening, expected) in [
        // 22:00 +00:00; eight hours later it is 06:00 by winter time, 07:00 by summer time.
        ("Europe/Lisbon", "2026-03-28T22:00:00Z", "until Sun 29 Mar 07:00"),
        // 22:00 -05:00; the same.
        ("America/New_York", "2026-03-08T03:00:00Z", "until Sun 8 Mar 07:00"),
        // 22:00 +11:00; half an hour is lived twice.
        ("Australia/Lord_Howe", "2026-04-04T11:00:00Z", "until Sun 5 Apr 05:30"),
    ] {
        sqlx::query("UPDATE studio SET time_zone = $1")
            .bind(zone)
            .execute(&studio.db.pool)
            .await
            .unwrap();
        sqlx::query("UPDATE timers SET ended_at = due_at").execute(&studio.db.pool).await.unwrap();
        studio.clock.set(moment(evening));
        // The session was begun in November and would have ended.
        sqlx::query("UPDATE sessions SET expires_at = timestamptz '2027-01-01'")
            .execute(&studio.db.pool)
            .await
            .unwrap();
        maker
            .post("/timers", &[("name", "Burnout"), ("minutes", "480"), ("of", zone)])
            .await
            .led_to();
        let page = maker.get("/timers").await;
        assert!(page.page().contains(expected), "{zone}: {}", page.body);
        assert!(page.body.contains("8:00:00"), "eight hours are eight hours");
    }
}
