//! Designs: measured as they arrive, refused clearly, never guessed at in silence.

use axum::http::{Request, StatusCode, header};
use foundry::mesh::{Unit, write};
use foundry::shapes::solid;

use crate::support::builders_orders::{alloy, block, open_block};
use crate::support::studio::{Actor, Studio};

const ONCE: &str = "01890a5d-ac96-774b-bcce-b302099a8057";

async fn count(studio: &Studio, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap()
}

async fn add(actor: &Actor, name: &str, content: &[u8]) -> String {
    actor.upload("/designs/new", &[], &[("models", name, content)]).await.led_to().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dropped_file_becomes_a_measured_design_with_its_weight_in_every_alloy() {
    let studio = Studio::open().await;
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    let maker = studio.maker().await;
    let place = add(&maker, "drawer_knob.stl", &block([10.0, 20.0, 30.0])).await;
    let page = maker.get(&place).await;
    let page = page.page();
    assert!(page.contains("Drawer knob"));
    // 10 × 20 × 30 mm are 6 cm³; in an alloy of 10.36 g/cm³ they weigh 62.16 g.
    assert!(page.contains("6.000<span class=\"unit\">\u{202f}cm³"), "{page}");
    assert!(page.contains("62.16<span class=\"unit\">\u{202f}g"));
    assert!(page.contains("volume ÷ 1000 × density"), "the weight opens into its working");
    assert!(page.contains("22.00<span class=\"unit\">\u{202f}cm²"));
    assert!(maker.get("/designs?search=KNOB").await.page().contains("Drawer knob"));
    assert!(maker.get("/designs?search=bead").await.page().contains("No design matches"));
}

#[tokio::test(flavor = "multi_thread")]
async fn files_sent_twice_make_designs_once_and_the_same_content_is_stored_once() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let knob = block([10.0, 20.0, 30.0]);
    let files: [(&str, &str, &[u8]); 1] = [("models", "knob.stl", &knob)];
    let first = owner.upload("/designs/new", &[("once", ONCE)], &files).await;
    let again = owner.upload("/designs/new", &[("once", ONCE)], &files).await;
    assert_eq!(first.led_to(), again.led_to());
    assert_eq!(count(&studio, "SELECT count(*) FROM designs").await, 1);
    add(&owner, "other name.stl", &knob).await;
    assert_eq!(count(&studio, "SELECT count(*) FROM designs").await, 2);
    assert_eq!(
        count(&studio, "SELECT count(*) FROM files WHERE media_type <> 'image/png'").await,
        1
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn of_several_files_the_good_ones_are_kept_and_the_refused_one_is_named() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let good = block([10.0, 20.0, 30.0]);
    let files: [(&str, &str, &[u8]); 2] =
        [("models", "good.stl", &good), ("models", "letter.pdf", b"%PDF-1.7 no model")];
    let answer = owner.upload("/designs/new", &[], &files).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("letter.pdf"));
    assert!(answer.body.contains("not a model that can be read"));
    let kept = answer.body.split("name=\"kept\" value=\"").nth(1).unwrap();
    let kept = kept.split('"').next().unwrap();
    assert!(kept.ends_with("good.stl"));
    let place = owner.upload("/designs/new", &[("kept", kept)], &[]).await.led_to().to_owned();
    assert!(owner.get(&place).await.page().contains("6.000<span"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_above_the_limit_is_refused_beside_its_field() {
    let studio = Studio::open().await.taking_models_of(2000);
    let owner = studio.owner().await;
    let files: [(&str, &str, &[u8]); 2] =
        [("models", "huge.stl", &[7; 3000]), ("models", "small.stl", &block([9.0, 9.0, 9.0]))];
    let answer = owner.upload("/designs/new", &[], &files).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(answer.body.contains("huge.stl"));
    assert!(answer.body.contains("larger than 1 kB"));
    assert!(answer.body.contains("small.stl"), "the good one is kept");
    let flood = owner.upload("/designs/new", &[], &[("models", "flood.stl", &[7; 9000])]).await;
    assert_eq!(flood.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(count(&studio, "SELECT count(*) FROM designs").await, 0);
}

/// A zip whose entry claims and delivers far more than it takes up: spaces, deflated.
fn bomb() -> Vec<u8> {
    let knob = write::three_mf(&solid::cuboid([10.0, 10.0, 10.0]), "x", Unit::Millimetre).unwrap();
    assert_eq!(&knob[..2], b"PK", "a 3MF file is a zip");
    let packed = miniz_oxide::deflate::compress_to_vec(&vec![b' '; 64 << 20], 9);
    let name = b"3D/3dmodel.model";
    let mut zip = Vec::new();
    let fields = |zip: &mut Vec<u8>| {
        zip.extend_from_slice(&[20, 0, 0, 0, 8, 0, 0, 0, 0, 0]);
        zip.extend_from_slice(&0_u32.to_le_bytes());
        zip.extend_from_slice(&u32::try_from(packed.len()).unwrap().to_le_bytes());
        zip.extend_from_slice(&(64_u32 << 20).to_le_bytes());
        zip.extend_from_slice(&u16::try_from(name.len()).unwrap().to_le_bytes());
        zip.extend_from_slice(&0_u16.to_le_bytes());
    };
    zip.extend_from_slice(b"PK\x03\x04");
    fields(&mut zip);
    zip.extend_from_slice(name);
    zip.extend_from_slice(&packed);
    let start = u32::try_from(zip.len()).unwrap();
    zip.extend_from_slice(b"PK\x01\x02\x14\x00");
    fields(&mut zip);
    zip.extend_from_slice(&[0; 10]);
    zip.extend_from_slice(&0_u32.to_le_bytes());
    zip.extend_from_slice(name);
    let length = u32::try_from(zip.len()).unwrap() - start;
    zip.extend_from_slice(b"PK\x05\x06\0\0\0\0\x01\0\x01\0");
    zip.extend_from_slice(&length.to_le_bytes());
    zip.extend_from_slice(&start.to_le_bytes());
    zip.extend_from_slice(&[0, 0]);
    zip
}

#[tokio::test(flavor = "multi_thread")]
async fn bad_models_are_turned_down_with_a_reason() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let mut nan = block([10.0, 10.0, 10.0]);
    nan[96..100].copy_from_slice(&f32::NAN.to_le_bytes());
    let bomb = bomb();
    let cases: [(&str, &[u8], &str); 4] = [
        ("empty.stl", b"", "The file is empty"),
        ("nothing.stl", b"solid nothing\nendsolid nothing\n", "no triangles"),
        ("nan.stl", &nan, "not a usable number"),
        ("bomb.3mf", &bomb, "would unpack to more than is accepted"),
    ];
    for (name, content, wanted) in cases {
        let answer = owner.upload("/designs/new", &[], &[("models", name, content)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
        assert!(answer.body.contains(name), "{name}: the file is named");
        assert!(answer.body.contains(wanted), "{name}: {}", answer.body);
    }
    let none = owner.upload("/designs/new", &[], &[]).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("Choose at least one model"));
    assert_eq!(count(&studio, "SELECT count(*) FROM designs").await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_open_surface_has_no_weight_and_the_page_says_why() {
    let studio = Studio::open().await;
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let place = add(&owner, "open.stl", &open_block()).await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("It has no weight."));
    assert!(page.body.contains("Stops the casting"));
    assert!(!page.body.contains("<th scope=\"row\">Sterling"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_size_in_doubt_is_asked_for_and_the_answer_measures_again() {
    let studio = Studio::open().await;
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let place = add(&owner, "inches.stl", &block([1.0, 1.0, 1.0])).await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("Which size is it?"));
    assert!(page.body.contains("The weight depends on the size"));
    let unclear = owner.post(&format!("{place}/unit"), &[("n", "1"), ("unit", "cubit")]).await;
    assert_eq!(unclear.status, StatusCode::UNPROCESSABLE_ENTITY);
    let told = owner.post(&format!("{place}/unit"), &[("n", "1"), ("unit", "inch")]).await;
    let page = owner.get(told.led_to()).await;
    // A cubic inch has 16.387064 cm³ by definition of the inch.
    assert!(page.page().contains("16.387<span"), "{}", page.body);
    // 16.387064 cm³ × 10.36 g/cm³
    assert!(page.body.contains("169.77<span"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_version_keeps_the_older_one_and_the_original_comes_back_byte_for_byte() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let first = block([10.0, 20.0, 30.0]);
    let place = add(&owner, "knob.stl", &first).await;
    let versions = format!("{place}/versions");
    let second = block([10.0, 20.0, 40.0]);
    owner.upload(&versions, &[], &[("models", "knob v2.stl", &second)]).await.led_to();
    assert!(owner.get(&place).await.page().contains("8.000<span"));
    assert!(owner.get(&format!("{place}?version=1")).await.page().contains("6.000<span"));
    let none = owner.upload(&versions, &[], &[]).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    let request = owner.request("GET", &format!("{place}/versions/1/original"));
    let (status, headers, body) =
        owner.bytes(request.body(axum::body::Body::empty()).unwrap()).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(body, first);
    let disposition = headers.get(header::CONTENT_DISPOSITION).unwrap().to_str().unwrap();
    assert!(disposition.starts_with("attachment; filename*=UTF-8''knob%2Estl"), "{disposition}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stored_file_is_for_people_who_are_signed_in_and_is_sent_once() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    add(&owner, "knob.stl", &block([10.0, 20.0, 30.0])).await;
    let picture: uuid::Uuid = sqlx::query_scalar("SELECT picture_id FROM design_versions")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let place = format!("/files/{picture}");
    assert_eq!(studio.stranger().get(&place).await.status, StatusCode::SEE_OTHER);
    let fetch = |request: axum::http::request::Builder| async {
        owner.bytes(request.body(axum::body::Body::empty()).unwrap()).await
    };
    let (status, headers, body) = fetch(owner.request("GET", &place)).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(&body[..8], b"\x89PNG\r\n\x1a\n");
    assert_eq!(headers[header::CONTENT_TYPE], "image/png");
    assert!(headers[header::CACHE_CONTROL].to_str().unwrap().contains("immutable"));
    let tag = headers[header::ETAG].clone();
    let known: Request<_> = owner
        .request("GET", &place)
        .header(header::IF_NONE_MATCH, tag)
        .body(axum::body::Body::empty())
        .unwrap();
    let (status, _, body) = owner.bytes(known).await;
    assert_eq!((status, body.len()), (StatusCode::NOT_MODIFIED, 0));
    assert_eq!(owner.get("/files/nonsense").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_form_of_a_design_changes_nothing() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let place = add(&owner, "knob.stl", &block([10.0, 20.0, 30.0])).await;
    let version: i64 =
        sqlx::query_scalar("SELECT version FROM designs").fetch_one(&studio.db.pool).await.unwrap();
    let version = version.to_string();
    owner.post(&place, &[("name", "Brass knob"), ("version", &version)]).await.led_to();
    let late = owner.post(&place, &[("name", "Late knob"), ("version", &version)]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("Late knob"), "what was typed is kept");
    assert!(owner.get("/designs").await.page().contains("Brass knob"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_model_with_a_hole_is_repaired_as_a_new_version() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let open = crate::support::builders_orders::open_block();
    // A triangle of 10 × 20 mm is wider than what is closed without asking.
    let place = |n: i32| format!("/designs/{n}/versions/1/repair");
    maker.upload("/designs/new", &[], &[("models", "wide.stl", &open)]).await.led_to();
    let page = maker.get("/designs/301").await;
    assert!(page.page().contains("Repair it as a new version"));
    let stays = maker.post(&place(301), &[]).await;
    assert_eq!(stays.status, StatusCode::CONFLICT);
    assert!(
        stays.body.contains("nothing that can be repaired safely")
            || stays.body.contains("The surface stays open")
    );
    // The same block a tenth as large: the hole is 1 × 2 mm.
    let mut small = crate::support::builders_orders::block([1.0, 2.0, 3.0]);
    small.truncate(small.len() - 50);
    small[80..84].copy_from_slice(&11_u32.to_le_bytes());
    maker.upload("/designs/new", &[], &[("models", "small.stl", &small)]).await.led_to();
    let unit = [("unit", "mm"), ("n", "1")];
    maker.post("/designs/302/unit", &unit).await.led_to();
    maker.post(&place(302), &[]).await.led_to();
    let (n, closed, volume): (i32, bool, f64) = sqlx::query_as(
        "SELECT v.n, v.closed, v.volume_mm3 FROM design_versions v JOIN designs d ON d.id = v.design_id
         WHERE d.number = 302 ORDER BY v.n DESC LIMIT 1",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert!(n == 2 && closed && (volume - 6.0).abs() < 1e-3, "{n} {closed} {volume}");
    let page = maker.get("/designs/302?version=1").await;
    assert_eq!(page.status, StatusCode::OK, "the file as it came is kept");
}
