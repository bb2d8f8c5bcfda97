//! Tickets: the printed code is read back by a decoder that shares nothing with the encoder
//! (rqrr, a reader of ISO/IEC 18004 symbols), and leads to the step that comes next.

use axum::http::StatusCode;
use pourday::pieces::Stage;

use crate::support::studio::{Actor, Studio};

/// Every code on a page, as a camera reads it: the path is drawn in black on white and handed
/// to the decoder.
fn scanned(page: &str) -> Vec<String> {
    page.split("<svg class=\"qr\" viewBox=\"0 0 ").skip(1).map(read_code).collect()
}

fn read_code(svg: &str) -> String {
    const PIXELS: usize = 6;
    let side: usize = svg.split(' ').next().unwrap().parse().unwrap();
    let path = svg.split("<path d=\"").nth(1).unwrap().split('"').next().unwrap();
    let mut dark = vec![false; side * side];
    for square in path.split('M').skip(1) {
        let at = square.split('h').next().unwrap();
        let (x, y) = at.split_once(' ').unwrap();
        dark[y.parse::<usize>().unwrap() * side + x.parse::<usize>().unwrap()] = true;
    }
    let size = side * PIXELS;
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(size, size, |x, y| {
        if dark[y / PIXELS * side + x / PIXELS] { 0 } else { 255 }
    });
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1, "one code is found in the drawing");
    grids[0].decode().unwrap().1
}

/// Follows a scanned address as a phone does.
async fn follow(actor: &Actor, address: &str) -> String {
    let path = address.strip_prefix("HTTP://STUDIO.TEST").expect("this studio's address");
    actor.get(path).await.led_to().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_is_led_to_its_next_step_by_the_code_on_its_ticket() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    studio.print_room().await;
    let labels = studio.pieces(1, None).await;
    let label = &labels[0];
    let page = maker.get(&format!("/pieces/{label}/ticket")).await;
    let codes = scanned(page.page());
    let sheet = maker.get("/tickets?of=open:pieces&size=bag").await;
    assert_eq!(scanned(sheet.page()), codes, "the same code wherever it is printed");
    let attempt = studio.attempt_of(label).await;
    let next = follow(&maker, &codes[0]).await;
    assert_eq!(next, format!("/plates/new?pieces={attempt}"));
    let form = maker.get(&next).await;
    assert!(form.page().contains(&format!("value=\"{attempt}\" checked")), "ticked already");

    studio.bring_to(label, pourday::pieces::Stage::Cure).await;
    let next = follow(&maker, &codes[0]).await;
    assert_eq!(next, format!("/cure/new?pieces={attempt}"));
    assert!(maker.get(&next).await.page().contains(&format!("value=\"{attempt}\" checked")));
    studio.bring_to_from(label, pourday::pieces::Stage::Cure, pourday::pieces::Stage::Finish).await;
    assert_eq!(follow(&maker, &codes[0]).await, format!("/finishing/{label}"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_is_led_to_the_form_that_picks_out_what_failed() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(2, None).await;
    let attempt = studio.attempt_of(&labels[0]).await.to_string();
    let form = [
        ("printer", room.printer.as_str()),
        ("lot", &room.lot),
        ("supports", "medium"),
        ("pieces", &attempt),
    ];
    let plate = maker.post("/plates", &form).await.led_to().to_owned();
    let sheet = maker.get("/tickets?of=open:plates&size=card").await;
    let code = &scanned(sheet.page())[0];
    assert_eq!(follow(&maker, code).await, plate);
    maker.post(&format!("{plate}/start"), &[("version", "1")]).await.led_to();
    assert_eq!(follow(&maker, code).await, format!("{plate}#finish"));
    // A piece on the plate leads there too.
    let piece = maker.get(&format!("/pieces/{}/ticket", labels[0])).await;
    assert_eq!(follow(&maker, &scanned(piece.page())[0]).await, format!("{plate}#finish"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_code_opens_nothing_for_a_stranger_and_no_code_can_be_guessed_at() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(3, None).await;
    let page = maker.get("/tickets?of=open:pieces&size=tag").await;
    let codes = scanned(page.page());
    assert_eq!(codes.len(), labels.len());
    assert!(codes[0] != codes[1] && codes[1] != codes[2]);
    let path = codes[0].strip_prefix("HTTP://STUDIO.TEST").unwrap();
    let stranger = studio.stranger().get(path).await;
    assert!(stranger.led_to().starts_with("/sign-in"));
    assert_eq!(maker.get("/t/00000000").await.status, StatusCode::NOT_FOUND);
    assert_eq!(maker.get("/t/not%20a%20code").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_in_a_hurry_is_found() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let page = maker.get("/tickets").await;
    let code = scanned(page.page())[0].rsplit('/').next().unwrap().to_lowercase();
    let next = maker.get(&format!("/t?find={code}")).await.led_to().to_owned();
    assert!(next.starts_with("/plates/new?pieces="));
    assert_eq!(maker.get(&format!("/t?find={}", labels[0])).await.led_to(), next);
    let missed = maker.get("/t?find=flask+9").await;
    assert_eq!(missed.led_to(), "/find?find=flask%209");
    let missed = maker.get("/find?find=flask%209").await;
    assert!(missed.page().contains("Nothing here is called “flask 9”"));
    assert!(missed.body.contains("id=\"find\" name=\"find\" value=\"flask 9\""), "to try again");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_is_told_in_advance_where_each_open_ticket_leads() {
    let studio = Studio::with_workshop().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(9, None).await;
    for (label, stage) in labels[1..].iter().zip([
        Stage::Cure,
        Stage::Invest,
        Stage::Invest,
        Stage::Burnout,
        Stage::Burnout,
        Stage::Cast,
        Stage::Finish,
    ]) {
        studio.bring_to(label, stage).await;
    }
    studio.begin(&labels[3], Stage::Invest).await;
    studio.flask(&labels[3..4], "treeing").await;
    studio.flask(&labels[4..5], "setting").await;
    let fired = studio.flask(&labels[5..6], "in_kiln").await;
    let hot = studio.flask(&labels[6..7], "hot").await;
    studio.held_load(&[fired, hot]).await;
    sqlx::query("UPDATE kiln_loads SET state = 'burning', held_at = NULL")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    maker.get("/tickets?of=open:pieces").await.page();
    let told = maker.get("/t/open").await;
    let told: Vec<serde_json::Value> = serde_json::from_str(told.page()).unwrap();
    assert_eq!(told.len(), labels.len() + 4 + 1, "pieces, flasks and a load");
    for ticket in &told {
        let name = ticket["name"].as_str().unwrap();
        let typed = maker.get(&format!("/t?find={}", name.replace(' ', "+"))).await;
        assert_eq!(typed.led_to(), ticket["place"].as_str().unwrap(), "{name}");
        if let Some(code) = ticket["code"].as_str() {
            assert_eq!(maker.get(&format!("/t/{code}")).await.led_to(), ticket["place"]);
        }
    }
    let coded = told.iter().filter(|ticket| ticket["code"].is_string()).count();
    assert_eq!(coded, labels.len(), "those whose tickets were printed");
    assert!(studio.stranger().get("/t/open").await.led_to().starts_with("/sign-in"));
}
