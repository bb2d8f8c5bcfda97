//! What one browser records another one shows, by events; and by asking, where events do not come.

use std::time::{Duration, Instant};

use super::bench::{Line, phone, plate};
use super::driver::Browser;
use crate::support::studio::Studio;

/// Notes when an event comes and when the page was made anew, by the browser's own clock.
const LISTEN: &str = "window.heard = []; window.shown = [];
    const events = new EventSource('/live');
    events.onmessage = (event) => window.heard.push([Date.now(), event.data]);
    document.addEventListener('pourday:refreshed', () => window.shown.push(Date.now()));
    const done = arguments[arguments.length - 1];
    events.onopen = () => done(true);";

/// Two browsers on one line: one at a plate, the other where it is asked for.
struct Two {
    studio: Studio,
    place: String,
    line: Line,
    one: Browser,
    two: Browser,
}

async fn two_browsers() -> Two {
    let studio = Studio::open().await;
    studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let place = plate(&studio, &labels).await;
    let line = Line::to(&studio).await;
    let (one, two) = (phone(&line.base, "maker").await, phone(&line.base, "owner").await);
    one.goto(&place).await;
    two.goto("/now").await;
    two.see("Start plate").await;
    Two { studio, place, line, one, two }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_step_in_one_browser_arrives_in_the_other_as_an_event_and_is_shown() {
    let Two { place, one, two, studio: _studio, line: _line } = two_browsers().await;
    two.client.execute_async(LISTEN, vec![]).await.unwrap();

    let tapped: f64 =
        one.client.execute("return Date.now()", vec![]).await.unwrap().as_f64().unwrap();
    one.press(&format!("{place}/start")).await;
    two.wait_for("Nothing is asked of you now").await;
    one.see("is printing").await;
    let heard = two.client.execute("return window.heard", vec![]).await.unwrap();
    let shown = two.client.execute("return window.shown", vec![]).await.unwrap();
    let event = heard
        .as_array()
        .unwrap()
        .iter()
        .find(|event| event[1].as_str().is_some_and(|topic| topic.starts_with("plates:")))
        .unwrap_or_else(|| panic!("the event of the plate arrived: {heard}"));
    let shown = shown.as_array().unwrap().first().expect("the page was made anew by the event");
    eprintln!(
        "from the tap in one browser to the event in the other: {:.0} ms; to the page shown: {:.0} ms",
        event[0].as_f64().unwrap() - tapped,
        shown.as_f64().unwrap() - tapped
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn where_events_do_not_come_through_the_page_asks() {
    let Two { studio, place, line, one, two } = two_browsers().await;
    // Streams end and no new one begins; pages still come.
    line.silence();
    let begun = Instant::now();
    one.press(&format!("{place}/start")).await;
    two.wait_for("Nothing is asked of you now").await;
    eprintln!("without events: shown after {:.1} s", begun.elapsed().as_secs_f64());
    // Events again: what happened in between is caught up, and the next comes by itself.
    line.mend();
    tokio::time::sleep(Duration::from_secs(4)).await;
    two.client.execute("window.shown = []; document.addEventListener('pourday:refreshed', () => window.shown.push(1))", vec![]).await.unwrap();
    sqlx::query("UPDATE plates SET note = 'seen'").execute(&studio.db.pool).await.unwrap();
    for _ in 0..100 {
        let shown = two.client.execute("return window.shown.length", vec![]).await.unwrap();
        if shown.as_i64() > Some(0) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("no event came after the stream was mended");
}
