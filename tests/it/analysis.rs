//! What a file tells about its casting: asked for as it arrives, worked out beside the pages.

use axum::http::StatusCode;
use foundry::mesh::{Bounds, write};
use foundry::shapes::{Field, net, solid};
use pourday::jobs::Worker;
use tokio::sync::watch;

use crate::support::builders_orders::{alloy, block, open_block};
use crate::support::studio::{Actor, Studio};

/// Lets a worker do what waits, but for the freezing's later stages, which take long.
async fn work(studio: &Studio) {
    sqlx::query("DELETE FROM jobs WHERE kind = 'feed' AND input ->> 'stage' <> 'first'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    work_to_the_end(studio).await;
}

/// Lets a worker do everything that waits.
async fn work_to_the_end(studio: &Studio) {
    let (_stop, mut stopped) = watch::channel(false);
    let worker = Worker::new(studio.app.clone(), pourday::server::kinds());
    while worker.run_one(&mut stopped).await.unwrap() {}
}

async fn add(actor: &Actor, name: &str, content: &[u8]) -> String {
    actor.upload("/designs/new", &[], &[("models", name, content)]).await.led_to().to_owned()
}

async fn sterling(studio: &Studio) -> String {
    alloy(&studio.db.pool, "Sterling silver", 10.36).await;
    sqlx::query(
        "UPDATE alloys SET family = 'silver', solidus_c = 802, liquidus_c = 893, melt_c = 970, flask_c = 520",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    let id: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    id.to_string()
}

fn casting<'a>(alloy: &'a str, version: &'a str, limit: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("n", "1"),
        ("version", version),
        ("alloy", alloy),
        ("method", "gravity"),
        ("head_mm", "40"),
        ("metal_c", "970"),
        ("flask_c", "520"),
        ("limit_mm", limit),
        ("vacuum_kpa", ""),
        ("turns_per_min", ""),
        ("arm_mm", ""),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dropped_file_is_looked_into_at_once_and_the_page_shows_how_far_it_is() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    let owner = studio.owner().await;
    let place = add(&owner, "plate.stl", &block([12.0, 8.0, 1.25])).await;
    let waiting = owner.get(&place).await;
    assert!(waiting.page().contains("Being worked out"));
    assert!(waiting.body.contains("waits for its turn"));
    assert!(waiting.body.contains("data-live=\"jobs\""), "the page follows the work");
    work(&studio).await;
    let page = owner.get(&place).await;
    let page = page.page();
    assert!(!page.contains("Being worked out"), "{page}");
    assert!(!page.contains("data-live=\"jobs\""));
    // A plate's thinnest wall is its thickness.
    assert!(page.contains("1.25<span class=\"unit\">\u{202f}mm"), "{page}");
    assert!(page.contains("Fills"), "{page}");
    assert!(page.contains("2 × surface tension ÷ thickness"), "the verdict opens into its working");
    assert!(page.contains("No sprue yet"));
    assert!(page.contains("data-surface=\"/files/"));
    assert!(page.contains("data-times=\"/files/"));
    assert!(page.contains("coloured by the thickness of its walls"), "pictures need no script");
    // The same file again is known already.
    let again = add(&owner, "same plate.stl", &block([12.0, 8.0, 1.25])).await;
    let again = owner.get(&again).await;
    assert!(again.page().contains("Will it cast?") && again.body.contains("No sprue yet"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_surface_that_is_sent_holds_the_model_and_its_walls() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    let owner = studio.owner().await;
    let place = add(&owner, "plate.stl", &block([12.0, 8.0, 1.25])).await;
    work(&studio).await;
    let page = owner.get(&place).await;
    let address = page.page().split("data-surface=\"").nth(1).unwrap().split('"').next().unwrap();
    let request = owner.request("GET", address).body(axum::body::Body::empty()).unwrap();
    let (status, _, bytes) = owner.bytes(request).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(&bytes[..4], b"PDS1");
    let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    assert_eq!((word(4), word(8), word(12)), (8, 12, 2), "points, facets, fields");
    let number = |at: usize| f32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    let sides = [number(28), number(32), number(36)];
    assert_eq!(sides, [12.0, 8.0, 1.25]);
    let walls = 40 + 8 * 6 + 12 * 12;
    assert_eq!(word(walls), 8);
    assert!((number(walls + 4) - 1.25).abs() < 1e-3, "the thinnest of the field");
    let stranger = studio.stranger();
    let request = stranger.request("GET", address).body(axum::body::Body::empty()).unwrap();
    assert_ne!(stranger.bytes(request).await.0, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn sprues_are_judged_and_a_stale_form_changes_nothing() {
    let studio = Studio::open().await;
    let alloy = sterling(&studio).await;
    let owner = studio.owner().await;
    let cube = write::stl_binary(&solid::cuboid([6.0; 3]), "cube").unwrap();
    let place = add(&owner, "cube.stl", &cube).await;
    // So small a cube might be drawn in inches; the program asks.
    owner.post(&format!("{place}/unit"), &[("n", "1"), ("unit", "mm")]).await.led_to();
    let mut fields = casting(&alloy, "1", "0.8");
    fields.extend([("x1", "3"), ("y1", "3"), ("z1", "6"), ("d1", "6"), ("l1", "8")]);
    let led = owner.post(&format!("{place}/casting"), &fields).await;
    assert!(led.led_to().starts_with(&place));
    sqlx::query("DELETE FROM jobs WHERE input ->> 'stage' = 'fine'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    work_to_the_end(&studio).await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("Fed to the end"), "{}", page.body);
    assert!(page.body.contains("over what is known of the heat data"), "the answer has its range");
    assert!(page.body.contains("The sprue is enough"), "and says why one more adds nothing");
    // A form made before that change is refused and keeps what was typed.
    let mut stale = casting(&alloy, "1", "0.9");
    stale.extend([("x1", "3"), ("y1", "3"), ("z1", "6"), ("d1", "1"), ("l1", "8")]);
    let refused = owner.post(&format!("{place}/casting"), &stale).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("name=\"d1\" value=\"1\""), "what was typed is kept");
    // A sprue far away is refused at once; no point of the cube is farther from its centre than 6 mm.
    let mut far = casting(&alloy, "2", "0.8");
    far.extend([("x1", "3"), ("y1", "3"), ("z1", "30"), ("d1", "2"), ("l1", "8")]);
    let refused = owner.post(&format!("{place}/casting"), &far).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.body.contains("at least 21 mm away from the model"), "{}", refused.body);
    assert!(refused.body.contains("name=\"z1\" value=\"30\""), "what was typed is kept");
    // One in the air beside it is refused by the analysis, with what to do.
    let mut fields = casting(&alloy, "2", "0.8");
    fields.extend([("x1", "3"), ("y1", "3"), ("z1", "12"), ("d1", "5"), ("l1", "8")]);
    owner.post(&format!("{place}/casting"), &fields).await.led_to();
    work(&studio).await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("6.00 mm away from the model"), "{}", page.body);
    // Numbers that are none come back beside their sprue.
    let mut wrong = casting(&alloy, "3", "0.8");
    wrong.extend([("x1", "three"), ("y1", "3"), ("z1", "6"), ("d1", "2"), ("l1", "8")]);
    let answer = owner.post(&format!("{place}/casting"), &wrong).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("“three” is not a number."));
}

#[tokio::test(flavor = "multi_thread")]
async fn work_that_nobody_wants_is_called_off_and_asked_for_again() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    let owner = studio.owner().await;
    let place = add(&owner, "plate.stl", &block([12.0, 8.0, 1.25])).await;
    owner.post(&format!("{place}/analysis/cancel"), &[("n", "1")]).await.led_to();
    let page = owner.get(&place).await;
    assert!(page.page().contains("Look closer"));
    assert!(!page.body.contains("Being worked out"));
    owner.post(&format!("{place}/analysis"), &[("n", "1")]).await.led_to();
    assert!(owner.get(&place).await.page().contains("Being worked out"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_model_that_cannot_be_looked_into_says_why() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    let owner = studio.owner().await;
    let place = add(&owner, "open.stl", &open_block()).await;
    work(&studio).await;
    let page = owner.get(&place).await;
    // The missing side is planar, so the copy that is looked into has it filled; the file stays open.
    assert!(page.page().contains("It has no weight."));
    assert!(
        page.body.contains("repaired copy") || page.body.contains("no walls to measure"),
        "{}",
        page.body
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_version_shows_what_it_changed() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    let owner = studio.owner().await;
    let place = add(&owner, "plate.stl", &block([12.0, 8.0, 2.0])).await;
    let versions = format!("{place}/versions");
    let thinner = block([12.0, 8.0, 1.0]);
    owner.upload(&versions, &[], &[("models", "plate 2.stl", &thinner)]).await.led_to();
    work(&studio).await;
    let page = owner.get(&place).await;
    let change = page.page().split("id=\"change\"").nth(1).unwrap();
    assert!(change.contains("What version 2 changed"));
    // 192 mm³ become 96 mm³.
    assert!(change.contains("0.192<span") && change.contains("0.096<span"), "{change}");
    assert!(change.contains("\u{2212}50.0 %"));
    assert!(change.contains("2.00<span") && change.contains("1.00<span"), "the thinnest walls");
    assert!(change.contains("the thickness of their walls"), "pictures stand side by side");
    assert!(!owner.get(&format!("{place}?version=1")).await.page().contains("id=\"change\""));
}

/// The curve of a hook goes far around a circle: no ring size is told of it, but asked.
/// A band of 1.2 mm around a bore of 8.4 mm, sawn through for 4 mm.
fn cut_ring() -> Vec<u8> {
    let whole = Field::torus([0.0; 3], [0.0, 0.0, 1.0], 9.6, 1.2);
    let ring = whole.less(Field::block([9.6, 0.0, 0.0], [2.5, 2.0, 2.5], 0.0), 0.0);
    let room = Bounds { least: [-12.0, -12.0, -2.0], greatest: [12.0, 12.0, 2.0] };
    write::stl_binary(&net(&ring, &room, 0.6).unwrap(), "cut-ring").unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cut_ring_is_given_no_ring_size_unless_it_is_said_to_be_one() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    let owner = studio.owner().await;
    let place = add(&owner, "cut-ring.stl", &cut_ring()).await;
    sqlx::query("DELETE FROM jobs WHERE kind = 'feed'").execute(&studio.db.pool).await.unwrap();
    work(&studio).await;
    let page = owner.get(&place).await;
    assert!(!page.page().contains("Ring size"), "{}", page.body);
    let open = page.body.split("id=\"ring\"").nth(1).unwrap();
    assert!(open.contains("Not a closed ring") && open.contains("of its way around"), "{open}");
    let said = owner.get(&format!("{place}?ring=yes")).await;
    assert!(said.page().contains("Ring size") && said.body.contains("It is open"));
    assert!(said.body.contains("name=\"ring\" value=\"yes\""), "kept for what is asked next");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ring_says_what_size_comes_out_and_what_to_draw_for_another() {
    let studio = Studio::open().await;
    sterling(&studio).await;
    sqlx::query("UPDATE alloys SET shrinkage = 0.015").execute(&studio.db.pool).await.unwrap();
    let owner = studio.owner().await;
    let ring = write::stl_binary(&solid::tube(8.65, 10.45, 4.5, 180), "ring").unwrap();
    let place = add(&owner, "ring.stl", &ring).await;
    sqlx::query("DELETE FROM jobs WHERE kind = 'feed'").execute(&studio.db.pool).await.unwrap();
    work(&studio).await;
    let page = owner.get(&format!("{place}?scale=iso&size=54")).await;
    let ring = page.page().split("id=\"ring\"").nth(1).unwrap();
    assert!(ring.contains("17.30<span"), "the bore as drawn: {ring}");
    // 17.30 × (1 − 0.015) + 0.1 mm of finishing.
    assert!(ring.contains("17.14<span"), "as it comes out: {ring}");
    // ISO 8653, size 54: 54 ÷ π = 17.189 mm inside; (17.189 − 0.1) ÷ (1 − 0.015) = 17.349.
    assert!(ring.contains("ISO 8653 54") && ring.contains("17.35<span"), "{ring}");
    assert!(ring.contains("assumed 0 % in print and cure"), "nobody told of a resin: {ring}");
    // Printed in the studio's resin, which contracts by 0.9 %: 17.30 × (1 − 0.009) × (1 − 0.015) + 0.1.
    sqlx::query("INSERT INTO resins (id, name, density_g_cm3, shrinkage) VALUES (gen_random_uuid(), 'Castable amber', 1.1, 0.009)")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let page = owner.get(&place).await;
    let ring = page.page().split("id=\"ring\"").nth(1).unwrap();
    assert!(ring.contains("16.99<span"), "as it comes out: {ring}");
    assert!(ring.contains("0.90 % in print and cure, as entered with Castable amber"), "{ring}");
    let typed = owner.get(&format!("{place}?print=0")).await;
    assert!(typed.page().contains("17.14<span") && typed.body.contains("as typed"));
    let wrong = owner.get(&format!("{place}?scale=uk&size=Q%C3%B6")).await;
    assert!(wrong.page().contains("is not a ring size of the scale"));
    assert!(wrong.body.contains("value=\"Qö\""), "what was typed is kept");
    let wrong = owner.get(&format!("{place}?scale=uk&size=N&print=lots")).await;
    assert!(wrong.page().contains("must be a number between 0 and 10"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_known_shapes_come_out_as_they_are_known() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    assert!(owner.get("/designs/known").await.page().contains("not worked out yet"));
    owner.post("/designs/known", &[]).await.led_to();
    work(&studio).await;
    let page = owner.get("/designs/known").await;
    let page = page.page();
    assert!(!page.contains("does not agree"), "{page}");
    assert!(page.matches("<td>agrees</td>").count() >= 30, "{page}");
    assert!(page.matches("<li class=\"panel\"").count() >= 12);
}
