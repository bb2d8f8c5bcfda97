//! Pieces: found, failed, corrected and cancelled, each once.

use axum::http::StatusCode;
use pourday::pieces::Stage;

use crate::support::studio::Studio;

const KEY: (&str, &str) = ("once", "01890a5d-ac96-774b-bcce-b302099a8057");

#[tokio::test(flavor = "multi_thread")]
async fn a_failure_sent_twice_queues_one_attempt_and_can_be_taken_back() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let label = studio.pieces(1, Some("2026-12-01")).await.remove(0);
    let page = format!("/pieces/{label}");
    let seen = studio.version_of(&label).await;
    let form = [("version", seen.as_str()), ("stage", "print"), ("cause", "layer shift"), KEY];
    maker.post(&format!("{page}/failed"), &form).await.led_to();
    maker.post(&format!("{page}/failed"), &form).await.led_to();
    assert_eq!(studio.state_of(&label).await, ("print".into(), "waiting".into(), 2));
    // The same from a page that is old.
    let old = maker.post(&format!("{page}/failed"), &form[..3]).await;
    assert_eq!(old.status, StatusCode::CONFLICT);
    assert!(old.body.contains("Somebody recorded something else"));
    let shown = maker.get(&page).await;
    assert!(shown.page().contains("Failed at print: layer shift"));
    assert!(shown.body.contains("Attempt 2") && shown.body.contains("Attempt 1"));
    let seen = studio.version_of(&label).await;
    let undo = format!("{page}/undo");
    maker.post(&undo, &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(&label).await, ("print".into(), "waiting".into(), 1));
    let again = maker.post(&undo, &[("version", &seen)]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let shown = maker.get(&page).await;
    assert!(shown.page().contains("taken back"));
    assert!(!shown.body.contains("<h2>Attempt 2"), "what was queued by mistake is not shown");
    let seen = studio.version_of(&label).await;
    let nothing = maker.post(&undo, &[("version", &seen)]).await;
    assert_eq!(nothing.status, StatusCode::CONFLICT);
    assert!(nothing.body.contains("cannot be taken back"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failure_needs_a_cause_and_keeps_what_was_typed() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let label = studio.pieces(1, None).await.remove(0);
    let seen = studio.version_of(&label).await;
    let form = [
        ("version", seen.as_str()),
        ("stage", "print"),
        ("cause", " "),
        ("failure_note", "near the <edge>"),
    ];
    let answer = maker.post(&format!("/pieces/{label}/failed"), &form).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("Say what it looks like"));
    assert!(answer.body.contains("near the &#60;edge&#62;"));
    assert_eq!(studio.state_of(&label).await.2, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_is_kept_once_and_never_stale() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let label = studio.pieces(1, None).await.remove(0);
    let page = format!("/pieces/{label}");
    let note = [("note", "Stone seat is tight"), KEY];
    maker.post(&format!("{page}/note"), &note).await.led_to();
    maker.post(&format!("{page}/note"), &note).await.led_to();
    let shown = maker.get(&page).await;
    assert_eq!(shown.page().matches("Stone seat is tight").count(), 1);
    let empty = maker.post(&format!("{page}/note"), &[("note", "")]).await;
    assert_eq!(empty.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test(flavor = "multi_thread")]
async fn only_the_owner_cancels_and_it_can_be_taken_back() {
    let studio = Studio::open().await;
    let (owner, maker) = (studio.owner().await, studio.maker().await);
    let label = studio.pieces(1, None).await.remove(0);
    let cancel = format!("/pieces/{label}/cancel");
    let seen = studio.version_of(&label).await;
    let refused = maker.post(&cancel, &[("version", &seen)]).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    owner.post(&cancel, &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(&label).await.1, "cancelled");
    let seen = studio.version_of(&label).await;
    let again = owner.post(&cancel, &[("version", &seen)]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("is cancelled, so it cannot be cancelled"));
    owner.post(&format!("/pieces/{label}/undo"), &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(&label).await.1, "waiting");
}

#[tokio::test(flavor = "multi_thread")]
async fn pieces_are_found_by_stage_standing_lateness_and_words() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let late = studio.pieces(1, Some("2026-11-24")).await.remove(0);
    let due = studio.pieces(1, Some("2026-12-24")).await.remove(0);
    studio.bring_to(&due, Stage::Invest).await;
    let shows = async |query: &str| {
        let page = maker.get(&format!("/pieces{query}")).await;
        let card = |label: &str| page.page().contains(&format!("id=\"piece-{label}\""));
        (card(&late), card(&due))
    };
    assert_eq!(shows("").await, (true, true));
    assert_eq!(shows("?stage=invest").await, (false, true));
    assert_eq!(shows("?late=yes").await, (true, false));
    assert_eq!(shows("?standing=ready").await, (false, false));
    assert_eq!(shows(&format!("?search={late}")).await, (true, false));
    assert_eq!(shows("?search=quill&standing=all").await, (true, true));
    assert_eq!(shows("?search=%25").await, (false, false), "a sign of patterns is only a sign");
    assert_eq!(shows("?stage=nonsense&page=-3").await, (true, true));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ticket_carries_the_label_and_a_code() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let label = studio.pieces(2, None).await.remove(1);
    let page = maker.get(&format!("/pieces/{label}/ticket")).await;
    assert!(page.page().contains("piece 2 of 2"));
    assert!(page.body.contains("class=\"qr\""));
    assert!(page.body.contains("HTTP://STUDIO.TEST/T/"), "its short address");
    assert_eq!(maker.get("/pieces/9-9/ticket").await.status, StatusCode::NOT_FOUND);
    assert_eq!(maker.get("/pieces/9-9").await.status, StatusCode::NOT_FOUND);
}

/// A small PNG.
fn photo() -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    image::DynamicImage::new_rgb8(2, 1).write_to(&mut out, image::ImageFormat::Png).unwrap();
    out.into_inner()
}

#[tokio::test(flavor = "multi_thread")]
async fn two_photos_stand_side_by_side_each_with_its_stage() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let label = studio.pieces(1, None).await.remove(0);
    let (place, file) = (format!("/pieces/{label}"), photo());
    let files: [(&str, &str, &[u8]); 1] = [("photo", "seat.png", &file)];
    let photos = format!("{place}/photos");
    maker.upload(&photos, &[("caption", "as cast"), ("stage", "cast")], &files).await.led_to();
    assert!(!maker.get(&place).await.page().contains("Before and after"), "one is no pair");
    studio.clock.set(studio.clock.now().plus_minutes(60));
    maker.upload(&photos, &[("caption", "polished"), ("stage", "finish")], &files).await.led_to();
    let page = maker.get(&place).await;
    let pair = page.page().split("id=\"compare\"").nth(1).expect("a pair of photos");
    let (cast, finish) = (pair.find("at cast").unwrap(), pair.find("at finish").unwrap());
    assert!(cast < finish, "before stands first");
    let ids: Vec<String> = sqlx::query_scalar("SELECT id::text FROM photos ORDER BY taken_at")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap();
    let turned = maker.get(&format!("{place}?before={}&after={}", ids[1], ids[0])).await;
    let pair = turned.page().split("id=\"compare\"").nth(1).unwrap();
    assert!(pair.find("at finish").unwrap() < pair.find("at cast").unwrap());
    assert!(maker.get(&format!("{place}?before=nonsense")).await.page().contains("at cast"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_photo_is_kept_once_and_what_is_none_is_refused() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let label = studio.pieces(1, None).await.remove(0);
    let place = format!("/pieces/{label}");
    let photos = format!("{place}/photos");
    let fields = [("caption", "Seat <close>"), KEY];
    let file = photo();
    let files: [(&str, &str, &[u8]); 1] = [("photo", "seat.png", &file)];
    maker.upload(&photos, &fields, &files).await.led_to();
    maker.upload(&photos, &fields, &files).await.led_to();
    let shown = maker.get(&place).await;
    assert_eq!(shown.page().matches("<figure>").count(), 1);
    assert!(shown.body.contains("Seat &#60;close&#62;"));
    let share: String =
        sqlx::query_scalar("SELECT id::text FROM photos").fetch_one(&studio.db.pool).await.unwrap();
    let share = format!("{photos}/{share}");
    maker.post(&format!("{share}/share"), &[("shared", "yes")]).await.led_to();
    assert!(maker.get(&place).await.page().contains("Hide from the client"));
    let none = maker
        .upload(&photos, &[("caption", "")], &[("photo", "x.svg", b"<svg onload=alert(1)>")])
        .await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("no JPEG, PNG or WebP"));
    let large = vec![0_u8; 41 << 20];
    let large = maker.upload(&photos, &[], &[("photo", "x.png", &large)]).await;
    assert_eq!(large.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(large.body.contains("larger than 40 MB"));
    let mut whole = std::io::Cursor::new(Vec::new());
    let picture = image::DynamicImage::new_rgb8(300, 200);
    picture.write_to(&mut whole, image::ImageFormat::Jpeg).unwrap();
    let half = &whole.get_ref()[..whole.get_ref().len() / 2];
    let typed = [("caption", "As it came off"), ("stage", "cast")];
    let cut = maker.upload(&photos, &typed, &[("photo", "x.jpg", half)]).await;
    assert_eq!(cut.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(cut.body.contains("did not arrive whole"));
    assert!(cut.body.contains("value=\"As it came off\""), "what was typed is kept");
    assert!(cut.body.contains("value=\"cast\" selected"));
    maker.post(&format!("{share}/remove"), &[]).await.led_to();
    maker.post(&format!("{share}/remove"), &[]).await.led_to();
    let without = maker.get(&place).await;
    assert!(!without.page().contains("<figure>") && without.body.contains("Put it back"));
    // Put back it is seen here again, but no longer by the client.
    maker.post(&format!("{share}/put-back"), &[]).await.led_to();
    let back = maker.get(&place).await;
    assert!(back.page().contains("<figure>") && back.body.contains("Show to the client"));
    maker.post(&format!("{share}/remove"), &[]).await.led_to();
    studio.clock.set(studio.clock.now().plus_minutes(61));
    assert!(!maker.get(&place).await.page().contains("Put it back"), "for an hour");
}
