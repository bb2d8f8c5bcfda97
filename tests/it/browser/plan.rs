//! A flask is moved to another load: dragged there with the mouse, and by keyboard alone; and
//! taken back.

use std::time::Duration;

use fantoccini::actions::{
    InputSource, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction,
};
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

/// Presses a key where the focus is.
async fn press(browser: &Browser, key: Key) {
    let value = char::from(key);
    let keys = KeyActions::new("keyboard".to_owned())
        .then(KeyAction::Down { value })
        .then(KeyAction::Up { value });
    browser.client.perform_actions(keys).await.unwrap();
}

/// Presses Tab until the focus is on something; how often.
async fn tab_to(browser: &Browser, css: &str) -> usize {
    let script = "return document.activeElement.matches(arguments[0])";
    for n in 1..=150 {
        press(browser, Key::Tab).await;
        if browser.client.execute(script, vec![css.into()]).await.unwrap() == true {
            return n;
        }
    }
    panic!("{css} cannot be reached by Tab:\n{}", browser.text().await);
}

/// Whether what has the focus can be seen, all of it, with a ring around it.
async fn sees_focus(browser: &Browser) {
    let script = "const at = document.activeElement, box = at.getBoundingClientRect();
        return at.matches(':focus-visible') && parseFloat(getComputedStyle(at).outlineWidth) >= 2
            && box.top >= 0 && box.left >= 0 && box.bottom <= innerHeight && box.right <= innerWidth";
    assert_eq!(browser.client.execute(script, vec![]).await.unwrap(), true, "the focus is seen");
}

/// Moves a flask to the second load, takes it back and makes it again; no key but Tab, Enter and
/// the arrows.
async fn moved_by_keyboard(width: u32, height: u32) {
    let (_studio, _line, browser, [first, second]) = two_loads().await;
    browser.resize(width, height).await;
    browser.goto("/plan").await;
    tab_to(&browser, &format!("a[data-move='{first}']")).await;
    sees_focus(&browser).await;
    press(&browser, Key::Enter).await;
    // The form is filled in with the flask, and the load is chosen next.
    let flask = "return document.querySelector('#move form').elements.flask.value";
    assert_eq!(browser.client.execute(flask, vec![]).await.unwrap(), first.to_string());
    let active = browser.client.active_element().await.unwrap();
    assert_eq!(active.attr("name").await.unwrap().as_deref(), Some("place"));
    press(&browser, Key::Down).await;
    press(&browser, Key::Down).await;
    sees_focus(&browser).await;
    browser.picture(&format!("plan-keys-{width}-chosen")).await;
    tab_to(&browser, "#move form button").await;
    press(&browser, Key::Enter).await;
    browser.wait_for("Proposal 2").await;
    // The cost of the change is what is seen first, and undo is near.
    browser.see(&format!("Flask {first} into ")).await;
    let top =
        "return document.querySelector('#proposal').getBoundingClientRect().top / innerHeight";
    let top = browser.client.execute(top, vec![]).await.unwrap().as_f64().unwrap();
    assert!((-0.01..0.5).contains(&top), "the proposal begins {top} windows down");
    assert_eq!(card_of(&browser, first).await, card_of(&browser, second).await);
    browser.picture(&format!("plan-keys-{width}-moved")).await;
    let tabs = tab_to(&browser, "form[action='/plan/undo'] button").await;
    assert!(tabs <= 8, "undo is {tabs} tabs away");
    sees_focus(&browser).await;
    press(&browser, Key::Enter).await;
    browser.wait_for("Taken back:").await;
    assert_eq!((card_of(&browser, first).await, card_of(&browser, second).await), (0, 1));
    let tabs = tab_to(&browser, "form[action='/plan/redo'] button").await;
    assert!(tabs <= 2, "redo is {tabs} tabs away");
    browser.picture(&format!("plan-keys-{width}-taken-back")).await;
    press(&browser, Key::Enter).await;
    browser.wait_for("Proposal 2").await;
    assert_eq!(card_of(&browser, first).await, card_of(&browser, second).await);
    tab_to(&browser, "form[action='/plan/accept'] button").await;
    press(&browser, Key::Enter).await;
    browser.wait_for("Load 83").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_is_moved_by_keyboard_alone_and_made_again_after_it_was_taken_back() {
    moved_by_keyboard(1440, 900).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_is_moved_by_keyboard_alone_on_a_phone() {
    moved_by_keyboard(390, 844).await;
}
