//! What a phone can do with the network gone: scan, work by the clock, open what was never opened.

use std::time::Duration;

use pourday::pieces::Stage;

use super::bench::{phone, plate, until};
use super::driver::Browser;
use super::stages::bench;

/// Waits until the worker has kept where tickets lead, which it does last.
async fn kept_ahead(phone: &Browser) {
    let told = "const done = arguments[arguments.length - 1]; caches.open('tickets-1').then((kept) => kept.match('/t/open')).then((told) => done(!!told));";
    for _ in 0..200 {
        let kept = phone.client.execute_async(told, vec![]).await.unwrap();
        if kept.as_bool() == Some(true) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("nothing was kept ahead");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ticket_scanned_without_a_network_opens_a_page_that_was_never_opened() {
    let (studio, labels, line, phone) = bench(2, Stage::Print).await;
    let place = plate(&studio, &labels).await;
    phone.goto("/tickets?of=open:pieces").await;
    let code: String = sqlx::query_scalar("SELECT code FROM tickets WHERE subject = $1")
        .bind(format!("piece:{}", labels[0]))
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    phone.goto("/now").await;
    kept_ahead(&phone).await;
    line.cut();
    phone.goto(&format!("/T/{code}")).await;
    assert_eq!(phone.path().await, place);
    phone.see("No connection").await;
    phone.press(&format!("{place}/start")).await;
    phone.wait_for("1 step is not sent yet").await;
    // A code this device knows nothing of says so, and offers what is kept.
    phone.goto("/t/00000000").await;
    phone.see("was not known on this device").await;
    phone.see("Clocks").await;
    phone.picture("offline-kept-pages").await;
    line.mend();
    phone.goto("/now").await;
    until(&studio, &labels[0], ("print", "in_hand")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_of_work_is_started_and_stopped_without_a_network() {
    let (studio, labels, line, phone) = bench(1, Stage::Finish).await;
    studio.begin(&labels[0], Stage::Finish).await;
    let sheet = format!("/steps/finish/{}", labels[0]);
    phone.goto(&sheet).await;
    line.cut();
    phone.press(&format!("{sheet}/polished/start-clock")).await;
    phone.wait_for("1 step is not sent yet").await;
    phone.see("Kept, not sent yet").await;
    phone.picture("offline-clock").await;
    tokio::time::sleep(Duration::from_secs(8)).await;
    phone.press(&format!("{sheet}/polished")).await;
    phone.wait_for("2 steps are not sent yet").await;
    let running = "return document.querySelectorAll('[data-kept-clock]').length";
    let running = phone.client.execute(running, vec![]).await.unwrap();
    assert_eq!(running, serde_json::Value::from(0), "it was stopped");
    line.mend();
    let recorded = async || -> Option<f64> {
        sqlx::query_scalar("SELECT (told ->> 'minutes')::double precision FROM bench_steps")
            .fetch_optional(&studio.db.pool)
            .await
            .unwrap()
    };
    for _ in 0..200 {
        if recorded().await.is_some() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    // Eight seconds and what the taps took, in tenths of a minute.
    let minutes = recorded().await.expect("the step is recorded");
    assert!((0.1..=5.0).contains(&minutes), "{minutes} min");
    let open: i64 = sqlx::query_scalar("SELECT count(*) FROM step_clocks WHERE used_by IS NULL")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(open, 0, "its clock is used up");
}

#[tokio::test(flavor = "multi_thread")]
async fn somebody_who_types_is_told_that_the_thing_has_gone_on() {
    let (studio, labels, line, first) = bench(2, Stage::Print).await;
    let place = plate(&studio, &labels).await;
    let second = phone(&line.base, "owner").await;
    first.goto(&place).await;
    second.goto(&place).await;
    second.press(&format!("{place}/start")).await;
    first.wait_for("is printing").await;
    // One marks what failed; meanwhile the other takes the start back.
    let tick = format!("form[action='{place}/finish'] input[name=failed]");
    first.find(&tick).await.click().await.unwrap();
    second.press(&format!("{place}/take-back")).await;
    first.wait_for("This has changed since you began to type").await;
    let ticked = "return document.querySelector(arguments[0]).checked";
    let ticked = first.client.execute(ticked, vec![tick.as_str().into()]).await.unwrap();
    assert_eq!(ticked, serde_json::Value::Bool(true), "what was marked still stands");
    first.picture("bench-meanwhile").await;
    first.find(".meanwhile button").await.click().await.unwrap();
    first.wait_for("Start printing").await;
    drop(line);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_that_hangs_is_as_good_as_none() {
    let (studio, labels, line, phone) = bench(1, Stage::Print).await;
    let place = plate(&studio, &labels).await;
    phone.goto(&place).await;
    // Whatever is sent from now on is taken in and never answered.
    line.hang();
    phone.press(&format!("{place}/start")).await;
    phone.wait_for("1 step is not sent yet").await;
    line.mend();
    until(&studio, &labels[0], ("print", "in_hand")).await;
    let times: i64 = sqlx::query_scalar("SELECT count(*) FROM piece_events WHERE kind = 'entered'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(times, 1, "though it was sent twice");
}
