//! A flask is moved to another load: dragged there with the mouse, and by keyboard alone; and
//! taken back.

use std::time::Duration;

use fantoccini::actions::{InputSource, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};
use fantoccini::key::Key;

use super::bench::{Line, phone};
use super::driver::Browser;
use crate::plan::{furnished, proposed, set_flask};
use crate::support::studio::Studio;

/// An accepted plan of two loads, and a browser on its page; the flasks in order of their loads.
async fn two_loads() -> (Studio, Line, Browser, [i32; 2]) {
    let (studio, owner) = furnished().await;
    let now = studio.clock.now();
    let first = set_flask(&studio.db.pool, "Middle", now).await;
    let second = set_flask(&studio.db.pool, "Middle", now.plus_minutes(2 * 1440)).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let line = Line::to(&studio).await;
    let browser = phone(&line.base, "owner").await;
    browser.resize(1280, 1000).await;
    browser.goto("/plan").await;
    (studio, line, browser, [first, second])
}

/// The load in whose card a flask stands, counted from the first.
async fn card_of(browser: &Browser, flask: i32) -> i64 {
    let script = "return [...document.querySelectorAll('article.load')].findIndex((card) => card.querySelector(`[data-flask='${arguments[0]}']`));";
    browser.client.execute(script, vec![flask.into()]).await.unwrap().as_i64().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_is_dragged_onto_another_load_and_taken_back() {
    let (_studio, _line, browser, [first, second]) = two_loads().await;
    assert_eq!((card_of(&browser, first).await, card_of(&browser, second).await), (0, 1));
    let flask = browser.find(&format!("[data-flask='{first}']")).await;
    let into = browser.find("article.load:nth-of-type(2) h3").await;
    let script = "arguments[0].scrollIntoView({ block: 'center' })";
    browser.client.execute(script, vec![serde_json::to_value(&flask).unwrap()]).await.unwrap();
    let to = |element, x: f64| PointerAction::MoveToElement {
        element,
        duration: Some(Duration::from_millis(150)),
        x,
        y: 0.0,
    };
    let drag = MouseActions::new("mouse".to_owned())
        .then(to(flask, 0.0))
        .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
        .then(to(into.clone(), -20.0))
        .then(to(into, 0.0))
        .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
    browser.client.perform_actions(drag).await.unwrap();
    browser.wait_for("Proposal 2").await;
    browser.see(&format!("Flask {first} into ")).await;
    assert_eq!(card_of(&browser, first).await, card_of(&browser, second).await);
    browser.picture("plan-dragged").await;
    browser.press("/plan/undo").await;
    browser.see("Taken back:").await;
    assert_eq!((card_of(&browser, first).await, card_of(&browser, second).await), (0, 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_is_moved_by_keyboard_alone_and_made_again_after_it_was_taken_back() {
    let (_studio, _line, browser, [first, second]) = two_loads().await;
    let link = browser.find(&format!("a[data-move='{first}']")).await;
    link.send_keys(&char::from(Key::Enter).to_string()).await.unwrap();
    // The form is filled in with the flask, and the load is chosen next.
    let flask = "return document.querySelector('#move form').elements.flask.value";
    assert_eq!(browser.client.execute(flask, vec![]).await.unwrap(), first.to_string());
    let active = browser.client.active_element().await.unwrap();
    assert_eq!(active.attr("name").await.unwrap().as_deref(), Some("place"));
    active.send_keys(&format!("{0}{0}", char::from(Key::Down))).await.unwrap();
    let button = browser.find("#move form button").await;
    button.send_keys(&char::from(Key::Enter).to_string()).await.unwrap();
    browser.wait_for("Proposal 2").await;
    assert_eq!(card_of(&browser, first).await, card_of(&browser, second).await);
    browser.press("/plan/undo").await;
    browser.see("Taken back:").await;
    browser.press("/plan/redo").await;
    browser.see("Proposal 2").await;
    assert_eq!(card_of(&browser, first).await, card_of(&browser, second).await);
}
