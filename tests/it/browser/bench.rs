//! The bench on a phone: taps, scans, two people at once, and a network that is cut in the middle.

use std::net::SocketAddr;
use std::sync::Arc;

use pourday::server::{self, Config};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

use super::driver::Browser;
use crate::support::studio::{PASSWORD, Studio};

/// How much of a line is left.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Whole {
    /// All of it.
    All,
    /// Pages come and forms go, but no stream of events stays open.
    WithoutStreams,
    /// What is sent arrives, and no answer comes back.
    Hangs,
    /// Nothing: connections end, new ones are refused.
    Cut,
}

/// A line between browser and program that can be cut, or be deaf to events.
pub(super) struct Line {
    pub(super) base: String,
    whole: Arc<watch::Sender<Whole>>,
}

impl Line {
    pub(super) async fn to(studio: &Studio) -> Self {
        let app = studio.app.clone();
        let config = Config { listen: "127.0.0.1:0".parse().unwrap(), secure_cookies: false };
        let (told, heard) = tokio::sync::oneshot::channel();
        tokio::spawn(async move {
            let started = move |address, _| told.send(address).unwrap();
            server::serve(app, &config, std::future::pending(), started).await.unwrap();
        });
        let program: SocketAddr = heard.await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let whole = Arc::new(watch::channel(Whole::All).0);
        let watched = Arc::clone(&whole);
        tokio::spawn(async move {
            loop {
                let (near, _) = listener.accept().await.unwrap();
                let state = watched.subscribe();
                if *state.borrow() != Whole::Cut {
                    tokio::spawn(carry(near, program, state));
                }
            }
        });
        Self { base, whole }
    }

    pub(super) fn cut(&self) {
        self.whole.send_replace(Whole::Cut);
    }

    pub(super) fn hang(&self) {
        self.whole.send_replace(Whole::Hangs);
    }

    /// Ends streams of events and lets no new one begin.
    pub(super) fn silence(&self) {
        self.whole.send_replace(Whole::WithoutStreams);
    }

    pub(super) fn mend(&self) {
        self.whole.send_replace(Whole::All);
    }
}

/// Carries one connection both ways until either side ends it, or the line does.
async fn carry(mut near: TcpStream, program: SocketAddr, mut state: watch::Receiver<Whole>) {
    let Ok(mut far) = TcpStream::connect(program).await else { return };
    let (mut asked, mut answered) = (vec![0; 64 << 10], vec![0; 64 << 10]);
    let mut is_stream = false;
    loop {
        let now = *state.borrow_and_update();
        if now == Whole::Cut || (is_stream && now == Whole::WithoutStreams) {
            return;
        }
        tokio::select! {
            read = near.read(&mut asked) => match read {
                Ok(n) if n > 0 => {
                    is_stream = asked[..n].starts_with(b"GET /live ");
                    if (is_stream && now == Whole::WithoutStreams) || far.write_all(&asked[..n]).await.is_err() {
                        return;
                    }
                }
                _ => return,
            },
            read = far.read(&mut answered), if now != Whole::Hangs => match read {
                Ok(n) if n > 0 => {
                    if near.write_all(&answered[..n]).await.is_err() {
                        return;
                    }
                }
                _ => return,
            },
            _ = state.changed() => {}
        }
    }
}

/// A phone on which somebody has signed in, with the worker that keeps the pages in charge.
pub(super) async fn phone(base: &str, login: &str) -> Browser {
    let browser = Browser::open(base).await;
    browser.resize(390, 844).await;
    browser.goto("/sign-in").await;
    browser.set("/sign-in", "login", login).await;
    browser.set("/sign-in", "password", PASSWORD).await;
    browser.press("/sign-in").await;
    let ready = "const done = arguments[arguments.length - 1]; navigator.serviceWorker.ready.then(() => { const look = () => navigator.serviceWorker.controller ? done(true) : setTimeout(look, 50); look(); });";
    browser.client.execute_async(ready, vec![]).await.unwrap();
    browser
}

/// A plate laid out with all pieces of an order; its address.
pub(super) async fn plate(studio: &Studio, labels: &[String]) -> String {
    let room = studio.print_room().await;
    let maker = studio.owner().await;
    let mut form = vec![
        ("printer", room.printer.clone()),
        ("lot", room.lot.clone()),
        ("supports", "medium".to_owned()),
    ];
    for label in labels {
        form.push(("pieces", studio.attempt_of(label).await.to_string()));
    }
    let form: Vec<(&str, &str)> =
        form.iter().map(|(name, value)| (*name, value.as_str())).collect();
    maker.post("/plates", &form).await.led_to().to_owned()
}

pub(super) async fn until(studio: &Studio, label: &str, state: (&str, &str)) {
    for _ in 0..300 {
        let (stage, standing, _) = studio.state_of(label).await;
        if (stage.as_str(), standing.as_str()) == state {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    panic!("{label} did not come to {state:?}: {:?}", studio.state_of(label).await);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_tapped_without_a_network_is_kept_shown_and_sent_once_it_is_back() {
    let studio = Studio::open().await;
    studio.maker().await;
    let labels = studio.pieces(2, Some("2026-12-20")).await;
    let place = plate(&studio, &labels).await;
    let line = Line::to(&studio).await;
    let phone = phone(&line.base, "maker").await;
    phone.goto("/now").await;
    phone.see("Start plate").await;
    phone.goto(&place).await;
    phone.goto("/now").await;
    phone.picture("bench-now").await;

    line.cut();
    let start = format!("{place}/start?back=now");
    phone.press(&start).await;
    phone.wait_for("1 step is not sent yet").await;
    phone.see("No connection").await;
    phone.see("It prints").await;
    phone.see("Kept, not sent yet").await;
    phone.picture("bench-offline").await;
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 1));
    // Pages that were open before still open; others say that they cannot.
    phone.goto(&place).await;
    phone.see("No connection").await;
    phone.goto("/cure").await;
    phone.see("has not been opened on this device before").await;
    phone.goto("/now").await;
    phone.wait_for("1 step is not sent yet").await;

    line.mend();
    until(&studio, &labels[0], ("print", "in_hand")).await;
    phone.wait_for("Nothing is asked of you now").await;
    let times: i64 = sqlx::query_scalar("SELECT count(*) FROM piece_events WHERE kind = 'entered'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(times, 2, "each of the two pieces entered print once");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_somebody_else_did_meanwhile_is_shown_and_nothing_is_swallowed() {
    let studio = Studio::open().await;
    let other = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let place = plate(&studio, &labels).await;
    other.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    studio.clock.set(studio.clock.now().plus_minutes(120));
    let line = Line::to(&studio).await;
    let phone = phone(&line.base, "maker").await;
    phone.goto("/now").await;
    phone.see("All came out").await;

    line.cut();
    phone.press(&format!("{place}/finish?back=now")).await;
    phone.wait_for("1 step is not sent yet").await;
    let failed = studio.attempt_of(&labels[0]).await.to_string();
    let cause = format!("cause-{failed}");
    let form = [("version", "2"), ("failed", failed.as_str()), (cause.as_str(), "delaminated")];
    other.post(&format!("{place}/finish"), &form).await.led_to();
    line.mend();
    phone.wait_for("Turned down").await;
    phone.see("is done by now").await;
    phone.picture("bench-turned-down").await;
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 2));
    // It stays until somebody has dealt with it.
    phone.goto("/now").await;
    phone.wait_for("Turned down").await;
    phone.find(".turned-down button").await.click().await.unwrap();
    phone.goto("/now").await;
    phone.wait_for("Lay out a plate").await;
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    assert!(!phone.text().await.contains("Turned down"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ticket_as_the_screen_shows_it_is_scanned_and_opens_the_step_in_two_taps() {
    let studio = Studio::open().await;
    studio.maker().await;
    let labels = studio.pieces(1, None).await;
    studio.bring_to(&labels[0], pourday::pieces::Stage::Finish).await;
    let line = Line::to(&studio).await;
    let phone = phone(&line.base, "maker").await;
    phone.resize(1200, 1000).await;
    for size in ["bag", "tag", "card"] {
        phone.goto(&format!("/tickets?of=open:pieces&size={size}")).await;
        // Paper has more dots to the millimetre than a screen.
        let closer = "document.querySelector('.tickets').style.zoom = arguments[0]";
        let times = if size == "card" { 1 } else { 3 };
        phone.client.execute(closer, vec![times.into()]).await.unwrap();
        let png = phone.find(".tick .qr").await.screenshot().await.unwrap();
        phone.picture(&format!("bench-ticket-{size}")).await;
        let picture = image::load_from_memory(&png).unwrap().to_luma8();
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| {
            picture.get_pixel(x as u32, y as u32).0[0]
        });
        let grids = image.detect_grids();
        assert_eq!(grids.len(), 1, "the code of size {size} is found in the picture");
        let (_, address) = grids[0].decode().unwrap();
        phone.client.goto(&address).await.unwrap();
        assert_eq!(phone.path().await, format!("/finishing/{}", labels[0]));
    }
    // One scan, one weight, one tap.
    let begin = format!("/finishing/{}/begin", labels[0]);
    phone.set(&begin, "raw", "15.60").await;
    phone.press(&begin).await;
    assert_eq!(studio.state_of(&labels[0]).await, ("finish".into(), "in_hand".into(), 1));
}
