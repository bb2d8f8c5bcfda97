//! Plates: laid out from several orders, one outcome for every tap, nothing lost.

use axum::http::StatusCode;
use pourday::timers;

use crate::support::builders_pieces::PrintRoom;
use crate::support::studio::{Actor, Answer, Studio};

const KEY: (&str, &str) = ("once", "01890a5d-ac96-774b-bcce-b302099a8057");

async fn lay_out(studio: &Studio, actor: &Actor, room: &PrintRoom, labels: &[String]) -> Answer {
    let mut attempts = Vec::new();
    for label in labels {
        attempts.push(studio.attempt_of(label).await.to_string());
    }
    let mut form =
        vec![("printer", room.printer.as_str()), ("lot", &room.lot), ("supports", "medium")];
    form.extend(attempts.iter().map(|attempt| ("pieces", attempt.as_str())));
    actor.post("/plates", &form).await
}

async fn version(studio: &Studio) -> String {
    let version: i64 = sqlx::query_scalar("SELECT max(version) FROM plates")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    version.to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_carries_pieces_of_two_orders_from_print_to_cure() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let mut labels = studio.pieces(2, Some("2026-12-20")).await;
    labels.extend(studio.pieces(1, Some("2026-12-01")).await);
    let page = maker.get("/plates/new").await;
    let first = page.page().find(&labels[2]).unwrap();
    assert!(first < page.body.find(&labels[0]).unwrap(), "the first due stands first");
    let place = lay_out(&studio, &maker, &room, &labels).await.led_to().to_owned();
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 1));
    let page = maker.get(&place).await;
    // 15 mm and 5 mm of supports in layers of 0.05 mm.
    assert!(page.page().contains("400 layers"));
    assert!(page.body.contains("True outlines"), "the page says how it was packed");
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "in_hand".into(), 1));
    let running = timers::running(&studio.db.pool).await.unwrap();
    // 5 × 40 s + 395 × 6 s of light and 400 × 6 s of lifts are 4970 s.
    assert_eq!(running[0].due_at, studio.clock.now().plus_seconds(4970));

    let failed = studio.attempt_of(&labels[1]).await.to_string();
    let cause = format!("cause-{failed}");
    let seen = version(&studio).await;
    let form =
        [("version", seen.as_str()), ("failed", &failed), (&cause, "layer shift"), ("sure", "yes")];
    maker.post(&format!("{place}/finish"), &form).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("cure".into(), "waiting".into(), 1));
    assert_eq!(studio.state_of(&labels[2]).await, ("cure".into(), "waiting".into(), 1));
    assert_eq!(studio.state_of(&labels[1]).await, ("print".into(), "waiting".into(), 2));
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    let page = maker.get(&place).await;
    assert!(page.page().contains("failed: layer shift"));
    // Three models of 1.5 ml with a fifth for supports, and 3 ml left behind.
    let left: f64 =
        sqlx::query_scalar("SELECT resin_ml FROM plates").fetch_one(&studio.db.pool).await.unwrap();
    assert!((left - 8.4).abs() < 1e-9, "{left}");
    let waiting = maker.get("/plates/new").await;
    assert!(waiting.page().contains("attempt 2"), "the failed piece waits again");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_form_sent_twice_makes_one_plate() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let label = studio.pieces(1, None).await.remove(0);
    let attempt = studio.attempt_of(&label).await.to_string();
    let form = [
        ("printer", room.printer.as_str()),
        ("lot", &room.lot),
        ("supports", "light"),
        ("pieces", &attempt),
        KEY,
    ];
    let first = maker.post("/plates", &form).await;
    let again = maker.post("/plates", &form).await;
    assert_eq!(first.led_to(), again.led_to());
    // The same from another page: the piece is on a plate already, and it says which.
    let other = maker.post("/plates", &form[..4]).await;
    assert_eq!(other.status, StatusCode::CONFLICT);
    assert!(other.body.contains(&format!("{label} is on plate 41")), "{}", other.body);
    let count: i64 =
        sqlx::query_scalar("SELECT count(*) FROM plates").fetch_one(&studio.db.pool).await.unwrap();
    assert_eq!(count, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_people_start_a_plate_and_it_starts_once() {
    let studio = Studio::open().await;
    let (owner, maker, room) =
        (studio.owner().await, studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(2, None).await;
    let place = lay_out(&studio, &maker, &room, &labels).await.led_to().to_owned();
    let start = format!("{place}/start");
    let (a, b) = tokio::join!(
        owner.post(&start, &[("version", "1")]),
        maker.post(&start, &[("version", "1")])
    );
    let mut both = [a.status, b.status];
    both.sort();
    assert_eq!(both, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    let late = if a.status == StatusCode::CONFLICT { a } else { b };
    assert!(late.body.contains("Plate 41 is printing by now"));
    let events: i64 =
        sqlx::query_scalar("SELECT count(*) FROM piece_events WHERE kind = 'entered'")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!(events, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_finish_without_a_cause_or_from_an_old_page_changes_nothing() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(2, None).await;
    let place = lay_out(&studio, &maker, &room, &labels).await.led_to().to_owned();
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    let failed = studio.attempt_of(&labels[0]).await.to_string();
    let finish = format!("{place}/finish");
    let seen = version(&studio).await;
    let without = maker.post(&finish, &[("version", &seen), ("failed", &failed)]).await;
    assert_eq!(without.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(without.body.contains(&format!("Say why piece {} failed", labels[0])));
    assert!(without.body.contains(&format!("value=\"{failed}\" checked")), "the tick is kept");
    let old = maker.post(&finish, &[("version", "1")]).await;
    assert_eq!(old.status, StatusCode::CONFLICT);
    assert!(old.body.contains("Somebody changed plate 41"));
    assert_eq!(studio.state_of(&labels[1]).await.1, "in_hand");
    maker.post(&finish, &[("version", &seen), ("sure", "yes")]).await.led_to();
    let twice = maker.post(&finish, &[("version", &seen)]).await;
    assert_eq!(twice.status, StatusCode::CONFLICT);
    assert!(twice.body.contains("Plate 41 is done by now"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_too_tall_or_finds_no_room_is_named_and_nothing_is_kept() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let tall = studio.pieces_of_size(1, None, [10.0, 10.0, 150.5]).await;
    let answer = lay_out(&studio, &maker, &room, &tall).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("too tall for this printer"));
    assert!(answer.body.contains(&tall[0]));
    // Two of 60 × 40 mm find room side by side with the clearance, three do not.
    let wide = studio.pieces_of_size(3, None, [57.0, 40.0, 10.0]).await;
    let answer = lay_out(&studio, &maker, &room, &wide).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("No room left on the plate"));
    let count: i64 =
        sqlx::query_scalar("SELECT count(*) FROM plates").fetch_one(&studio.db.pool).await.unwrap();
    assert_eq!(count, 0);
    lay_out(&studio, &maker, &room, &wide[..2]).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_printer_prints_one_plate_at_a_time() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(2, None).await;
    let first = lay_out(&studio, &maker, &room, &labels[..1]).await.led_to().to_owned();
    let second = lay_out(&studio, &maker, &room, &labels[1..]).await.led_to().to_owned();
    maker.post(&format!("{first}/start"), &[("version", "1")]).await.led_to();
    let refused = maker.post(&format!("{second}/start"), &[("version", "1")]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("This printer is printing another plate"));
    assert_eq!(studio.state_of(&labels[1]).await.1, "waiting");
}

#[tokio::test(flavor = "multi_thread")]
async fn pieces_come_and_go_before_the_start_and_not_after() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(3, None).await;
    let place = lay_out(&studio, &maker, &room, &labels[..2]).await.led_to().to_owned();
    let second = studio.attempt_of(&labels[1]).await.to_string();
    let third = studio.attempt_of(&labels[2]).await.to_string();
    let off = format!("{place}/take-off");
    maker.post(&off, &[("version", "1"), ("piece", &second)]).await.led_to();
    let again = maker.post(&off, &[("version", "2"), ("piece", &second)]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let add = format!("{place}/pieces");
    let both = [("version", "2"), ("pieces", &second), ("pieces", &third)];
    maker.post(&add, &both).await.led_to();
    let none = maker.post(&add, &[("version", "3")]).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("Tick at least one piece"));
    let settings = [
        ("version", "3"),
        ("printer", room.printer.as_str()),
        ("lot", &room.lot),
        ("layer", "25"),
        ("exposure", "2,5"),
        ("supports", "heavy"),
    ];
    maker.post(&format!("{place}/settings"), &settings).await.led_to();
    assert!(maker.get(&place).await.page().contains("800 layers"));
    maker.post(&format!("{place}/start"), &[("version", "4")]).await.led_to();
    let late = maker.post(&off, &[("version", "5"), ("piece", &second)]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("is printing by now"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stopped_print_gives_its_pieces_back_and_keeps_the_resin_of_its_time() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(1, None).await;
    let place = lay_out(&studio, &maker, &room, &labels).await.led_to().to_owned();
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    // Half of the 4970 s, and half of 4.8 ml.
    studio.clock.set(studio.clock.now().plus_seconds(2485));
    maker.post(&format!("{place}/cancel"), &[("version", "2")]).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 1));
    let resin: f64 =
        sqlx::query_scalar("SELECT resin_ml FROM plates").fetch_one(&studio.db.pool).await.unwrap();
    assert!((resin - 2.4).abs() < 1e-9, "{resin}");
    assert!(timers::running(&studio.db.pool).await.unwrap().is_empty());
    let again = maker.post(&format!("{place}/cancel"), &[("version", "3")]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    lay_out(&studio, &maker, &room, &labels).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_that_fails_on_its_own_leaves_the_plate() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(2, None).await;
    let place = lay_out(&studio, &maker, &room, &labels).await.led_to().to_owned();
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    let seen = studio.version_of(&labels[0]).await;
    let form = [("version", seen.as_str()), ("stage", "print"), ("cause", "not on the plate")];
    maker.post(&format!("/pieces/{}/failed", labels[0]), &form).await.led_to();
    maker.post(&format!("{place}/finish"), &[("version", "2"), ("sure", "yes")]).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("print".into(), "waiting".into(), 2));
    assert_eq!(studio.state_of(&labels[1]).await, ("cure".into(), "waiting".into(), 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_without_anything_say_what_belongs_there() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    assert!(maker.get("/plates").await.page().contains("No plate is under way"));
    assert!(maker.get("/plates/new").await.page().contains("needs a printer"));
    studio.print_room().await;
    assert!(maker.get("/plates/new").await.page().contains("No piece waits for print"));
    assert_eq!(maker.get("/plates/99999").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_resin_costs_is_shown_to_the_owner_alone() {
    let studio = Studio::open().await;
    let (owner, maker) = (studio.owner().await, studio.maker().await);
    let room = studio.print_room().await;
    let resin: String =
        sqlx::query_scalar("SELECT id::text FROM resins").fetch_one(&studio.db.pool).await.unwrap();
    let item = ("resin", resin.as_str(), "ml");
    crate::support::builders_orders::price(&studio.db.pool, item, "0.20", "2026-11-01").await;
    let labels = studio.pieces(1, None).await;
    let place = lay_out(&studio, &maker, &room, &labels).await.led_to().to_owned();
    assert!(owner.get(&place).await.page().contains("EUR"));
    let seen = maker.get(&place).await;
    assert!(seen.page().contains("<dt>Resin</dt>") && !seen.body.contains("EUR"), "{}", seen.body);
}
