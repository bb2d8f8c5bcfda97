//! The viewer of models in a real browser: it draws, turns, is cut open, and a sprue is dragged.

use foundry::mesh::write;
use foundry::shapes::Piece;
use pourday::server::{self, Config};
use serde_json::Value;

use super::driver::Browser;
use crate::support::builders_orders::alloy;
use crate::support::studio::{PASSWORD, Studio};

async fn serve(studio: &Studio) -> String {
    let app = studio.app.clone();
    let config = Config { listen: "127.0.0.1:0".parse().unwrap(), secure_cookies: false };
    let (told, heard) = tokio::sync::oneshot::channel();
    tokio::spawn(async move {
        let started = move |address, _| told.send(address).unwrap();
        server::serve(app, &config, std::future::pending(), started).await.unwrap();
    });
    let address: std::net::SocketAddr = heard.await.unwrap();
    format!("http://{address}")
}

async fn ask(browser: &Browser, script: &str) -> Value {
    browser.client.execute(script, vec![]).await.unwrap()
}

/// Waits for an answer that is true; the model is worked out meanwhile, which takes its time.
async fn wait_until(browser: &Browser, script: &str) {
    for _ in 0..900 {
        if ask(browser, script).await == Value::Bool(true) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    }
    panic!("{script} did not come true:\n{}", browser.text().await);
}

/// How many different colours the canvas shows, and how much of it is covered.
async fn painted(browser: &Browser) -> (u64, f64) {
    let script = "const done = arguments[arguments.length - 1], canvas = document.querySelector('.viewer-stage canvas');
        requestAnimationFrame(() => requestAnimationFrame(() => {
            const copy = document.createElement('canvas'); copy.width = canvas.width; copy.height = canvas.height;
            const flat = copy.getContext('2d');
            // What WebGL drew is gone after the frame, so it is drawn once more and copied at once.
            window.pourdayViewer().paint();
            flat.drawImage(canvas, 0, 0);
            const data = flat.getImageData(0, 0, copy.width, copy.height).data, seen = new Set();
            let covered = 0;
            for (let n = 0; n < data.length; n += 4) if (data[n + 3] > 0) { covered++; seen.add((data[n] >> 3 << 10) + (data[n + 1] >> 3 << 5) + (data[n + 2] >> 3)); }
            done([seen.size, covered / (data.length / 4)]);
        }));";
    let answer = browser.client.execute_async(script, vec![]).await.unwrap();
    (answer[0].as_u64().unwrap(), answer[1].as_f64().unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_model_turns_is_cut_open_and_its_sprue_is_dragged_and_worked_out_again() {
    let studio = Studio::open().await;
    alloy(&studio.db.pool, "Sterling silver", 10.36).await;
    sqlx::query("UPDATE alloys SET solidus_c = 802, liquidus_c = 893, melt_c = 970, flask_c = 520")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let owner = studio.owner().await;
    let ring = write::stl_binary(&Piece::SignetRing.mesh(), "ring").unwrap();
    let place = owner.upload("/designs/new", &[], &[("models", "signet ring.stl", &ring)]).await;
    let place = place.led_to().to_owned();
    let base = serve(&studio).await;
    let browser = Browser::open(&base).await;
    browser.resize(1280, 1000).await;
    browser.goto("/sign-in").await;
    browser.set("/sign-in", "login", "owner").await;
    browser.set("/sign-in", "password", PASSWORD).await;
    browser.press("/sign-in").await;

    // The page follows the work without being loaded again, and the viewer appears.
    browser.goto(&place).await;
    ask(&browser, "window.sameLoad = true").await;
    wait_until(
        &browser,
        "return document.querySelector('.viewer-stage canvas')?.dataset.painted === 'walls'",
    )
    .await;
    wait_until(&browser, "return !!window.pourdayViewer()?.fields?.times").await;
    assert_eq!(ask(&browser, "return window.sameLoad").await, Value::Bool(true));
    let (colours, covered) = painted(&browser).await;
    assert!(colours > 40, "{colours} colours");
    assert!((0.1..0.9).contains(&covered), "{covered} of the stage is covered");
    browser.picture("viewer-walls").await;

    // Arrow keys turn it.
    let view = "const v = window.pourdayViewer(); return [v.turn.around, v.turn.above]";
    let before = ask(&browser, view).await;
    let key = "document.querySelector('.viewer-stage canvas').dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft', bubbles: true }))";
    ask(&browser, key).await;
    assert_ne!(ask(&browser, view).await, before);
    // So does a pointer.
    let drag = "const c = document.querySelector('.viewer-stage canvas'), box = c.getBoundingClientRect(); c.setPointerCapture = () => {};
        const send = (type, x, y) => c.dispatchEvent(new PointerEvent(type, { pointerId: 1, clientX: box.left + x, clientY: box.top + y, bubbles: true }));
        send('pointerdown', 100, 100); send('pointermove', 160, 130); send('pointerup', 160, 130);";
    let before = ask(&browser, view).await;
    ask(&browser, drag).await;
    assert_ne!(ask(&browser, view).await, before);

    // Cut open, less of it is there.
    ask(&browser, "const v = window.pourdayViewer(); v.reset(); v.axisBox.value = '1'; v.axisBox.dispatchEvent(new Event('change')); v.slider.value = 300; v.slider.dispatchEvent(new Event('input'))").await;
    let (_, cut) = painted(&browser).await;
    assert!(cut < covered * 0.98, "{cut} against {covered}");
    browser.picture("viewer-cut").await;

    // Coloured by freezing, the last place is marked.
    ask(&browser, "const v = window.pourdayViewer(); v.reset(); [...document.querySelectorAll('.viewer-modes button')].find((b) => b.textContent === 'Freezing').click()").await;
    let last = ask(&browser, "return document.querySelector('.mark.last').title").await;
    assert!(last.as_str().unwrap().starts_with("freezes last, after"), "{last}");
    let legend = ask(&browser, "return document.querySelector('.viewer-legend').textContent").await;
    assert!(legend.as_str().unwrap().contains("Stops feeding after, s"), "{legend}");
    browser.picture("viewer-freezing").await;

    // A sprue is put on the model, dragged, and the form knows.
    let put = "const v = window.pourdayViewer(); v.put.click();
        const c = v.canvas, box = c.getBoundingClientRect(), [x, y] = v.onScreen([0, 0, 12.7]);
        const at = { pointerId: 1, clientX: box.left + x, clientY: box.top + y, bubbles: true };
        c.dispatchEvent(new PointerEvent('pointerdown', at)); c.dispatchEvent(new PointerEvent('pointerup', at));
        return ['x1', 'y1', 'z1', 'd1', 'l1'].map((name) => v.form.elements[name].value)";
    let row = ask(&browser, put).await;
    let z: f64 = row[2].as_str().unwrap().parse().unwrap();
    assert!(z > 5.0, "the sprue is on the head: {row}");
    let drag = "const v = window.pourdayViewer(), b = v.layer.querySelector('[data-sprue=\"1\"]'), box = v.canvas.getBoundingClientRect();
        b.setPointerCapture = () => {};
        const [x, y] = v.onScreen([2, 1, 12.7]), at = { pointerId: 1, clientX: box.left + x, clientY: box.top + y, bubbles: true };
        b.dispatchEvent(new PointerEvent('pointerdown', at)); b.dispatchEvent(new PointerEvent('pointermove', at)); b.dispatchEvent(new PointerEvent('pointerup', at));
        return ['x1', 'y1', 'z1'].map((name) => v.form.elements[name].value)";
    let moved = ask(&browser, drag).await;
    assert_ne!(moved[0], row[0]);
    browser.see("Sprue 1 was moved.").await;
    browser.picture("viewer-sprue").await;
    // A thick one feeds the head; the model is worked out again.
    ask(&browser, "const v = window.pourdayViewer(); v.form.elements.d1.value = '6'; window.sameLoad = false; [...document.querySelectorAll('.viewer-word button')][0].click()").await;
    wait_until(&browser, "return document.body.innerText.includes('Fed to the end')").await;
    let kept =
        browser.find("form[action$='/casting'] [name='x1']").await.prop("value").await.unwrap();
    assert_eq!(kept.as_deref(), moved[0].as_str());
    browser.picture("viewer-fed").await;
}
