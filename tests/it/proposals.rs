//! Proposed plates and flasks: packed as they are shown, made by one tap, moved by hand.

use axum::http::StatusCode;
use pourday::pieces::Stage;
use serde_json::Value;
use uuid::Uuid;

use crate::support::studio::Studio;

/// The values of a page's hidden fields of a name.
fn hidden(page: &str, name: &str) -> Vec<String> {
    let begin = format!("name=\"{name}\" value=\"");
    page.match_indices(&begin)
        .filter_map(|(at, _)| page[at + begin.len()..].split('"').next())
        .map(str::to_owned)
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn plates_are_proposed_due_first_and_made_by_one_tap() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    assert!(maker.get("/plates/propose").await.page().contains("No piece waits for print"));
    let late = studio.pieces_of_size(3, Some("2026-12-20"), [57.0, 40.0, 10.0]).await;
    let first = studio.pieces_of_size(1, Some("2026-12-01"), [30.0, 20.0, 30.0]).await;
    assert!(maker.get("/plates").await.page().contains("Propose plates"));
    let page = maker.get("/plates/propose").await.page().to_owned();
    assert!(page.contains("plate-piece") && page.contains("Lay out all"), "drawn, and to be made");
    let lists = hidden(&page, "plate");
    let soonest = studio.attempt_of(&first[0]).await.to_string();
    assert!(lists[0].contains(&soonest), "what is due first is on the first plate");
    let all: usize = lists.iter().map(|list| list.split(',').count()).sum();
    // Each plate is named in the form that makes all, and again in its own.
    assert_eq!(all, 2 * 4);
    let half = &lists[..lists.len() / 2];
    let mut form =
        vec![("printer", room.printer.as_str()), ("lot", &room.lot), ("supports", "medium")];
    form.extend(half.iter().map(|list| ("plate", list.as_str())));
    assert_eq!(maker.post("/plates/propose", &form).await.led_to(), "/plates");
    let rows: Vec<(i32, f64, f64, Value)> = sqlx::query_as(
        "SELECT b.number, p.x_mm, p.size_z_mm, p.outline FROM plate_pieces p JOIN plates b ON b.id = p.plate_id
         ORDER BY b.number, p.x_mm",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(rows.len(), 4);
    assert!(
        rows.iter().all(|(_, x, _, outline)| *x >= 2.0 && outline.as_array().unwrap().len() == 1)
    );
    assert!(rows.iter().any(|(number, _, z, _)| *number == 41 && *z == 30.0));
    let page = maker.get("/plates/41").await;
    assert!(page.page().contains("class=\"plate-piece\" d=\"M"), "the plate is drawn by outlines");
    assert!(maker.get("/plates/propose").await.page().contains("No piece waits for print"));
    // The proposal is gone; whoever still has it open is told.
    let again = maker.post("/plates/propose", &form).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(
        again.body.contains(&format!("{} is on plate", late[0]))
            || again.body.contains("is on plate")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tall_piece_is_laid_down_when_any_side_may_be_below() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let tall = studio.pieces_of_size(1, None, [10.0, 10.0, 100.0]).await;
    let address = format!(
        "/plates/propose?printer={}&lot={}&supports=medium&any_side=yes",
        room.printer, room.lot
    );
    let page = maker.get(&address).await.page().to_owned();
    // 10 mm and 5 mm of supports in layers of 0.05 mm.
    assert!(page.contains("300 layers"), "laid down");
    let attempt = studio.attempt_of(&tall[0]).await.to_string();
    let form = [
        ("printer", room.printer.as_str()),
        ("lot", &room.lot),
        ("supports", "medium"),
        ("any_side", "yes"),
        ("plate", &attempt),
    ];
    let place = maker.post("/plates/propose", &form).await.led_to().to_owned();
    assert!(maker.get(&place).await.page().contains("300 layers"));
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
}

/// Two kinds of flask, an investment and a family; the ids of investment and family.
async fn flasks(studio: &Studio) -> (String, String) {
    let (small, large, investment, family) =
        (Uuid::now_v7(), Uuid::now_v7(), Uuid::now_v7(), Uuid::now_v7());
    let pool = &studio.db.pool;
    let add = "INSERT INTO flask_types (id, name, diameter_mm, height_mm, wall_mm, size_class, owned) VALUES ($1, $2, $3, $4, 2, 'M', 3)";
    for (id, name, diameter, height) in [(small, "Small", 70, 80), (large, "Wide", 104, 130)] {
        sqlx::query(add)
            .bind(id)
            .bind(format!("{name} {id}"))
            .bind(diameter)
            .bind(height)
            .execute(pool)
            .await
            .unwrap();
    }
    sqlx::query("INSERT INTO investments (id, name, kind, water_per_100) VALUES ($1, 'Powder', 'gypsum', 40)")
        .bind(investment)
        .execute(pool)
        .await
        .unwrap();
    sqlx::query("INSERT INTO burnout_families (id, name, pattern, investment_kind) VALUES ($1, 'Resin one', 'resin', 'gypsum')")
        .bind(family)
        .execute(pool)
        .await
        .unwrap();
    (investment.to_string(), family.to_string())
}

const WISH: [(&str, &str); 9] = [
    ("flask_c", "540"),
    ("branches", "0"),
    ("heavy", "low"),
    ("attach", "heaviest"),
    ("sprue_mm", "8"),
    ("runner_mm", "3"),
    ("wall_mm", "7"),
    ("apart_mm", "3"),
    ("top_mm", "12"),
];

#[tokio::test(flavor = "multi_thread")]
async fn trees_are_proposed_begun_by_one_tap_moved_by_hand_and_arranged_again() {
    let studio = Studio::open().await;
    let (investment, family) = flasks(&studio).await;
    let maker = studio.maker().await;
    assert!(maker.get("/flasks/propose").await.page().contains("No piece waits to be invested"));
    let labels = studio.pieces_of_size(5, Some("2026-12-20"), [12.0, 10.0, 8.0]).await;
    for label in &labels {
        studio.bring_to(label, Stage::Invest).await;
    }
    let pool = &studio.db.pool;
    let alloy: String =
        sqlx::query_scalar("SELECT alloy_id::text FROM order_lines").fetch_one(pool).await.unwrap();
    let page = maker.get(&format!("/flasks/propose?alloy={alloy}")).await.page().to_owned();
    assert!(
        page.contains("tree-map") && page.contains("Begin this flask"),
        "drawn, and to be begun"
    );
    assert!(page.contains("Small"), "the least flask that holds all");
    let named = hidden(&page, "flask");
    let mut form = vec![
        ("alloy", alloy.as_str()),
        ("investment", &investment),
        ("family", &family),
        ("flask", &named[0]),
    ];
    form.extend(WISH);
    let place = maker.post("/flasks/propose", &form).await.led_to().to_owned();
    let page = maker.get(&place).await.page().to_owned();
    assert!(page.contains("class=\"unrolled\"") && page.contains("class=\"from-above\""));
    // Five models of 1.5 ml and some sprue, by the density of silver and a tenth of button.
    assert!(
        page.contains("computed, until the tree is weighed"),
        "the charge follows from the tree"
    );
    assert!(maker.get(&format!("{place}/sheet")).await.page().contains("Tree map"));

    // A second flask of the same alloy and family; a piece moves there by hand.
    let more = studio.pieces_of_size(1, None, [12.0, 10.0, 8.0]).await;
    studio.bring_to(&more[0], Stage::Invest).await;
    sqlx::query("UPDATE order_lines SET alloy_id = $1::uuid")
        .bind(&alloy)
        .execute(pool)
        .await
        .unwrap();
    let page = maker.get(&format!("/flasks/propose?alloy={alloy}")).await.page().to_owned();
    let named = hidden(&page, "flask");
    form.retain(|(name, _)| *name != "flask");
    form.push(("flask", &named[0]));
    let other = maker.post("/flasks/propose", &form).await.led_to().to_owned();
    let number = other.rsplit('/').next().unwrap();
    let piece: String = sqlx::query_scalar("SELECT id::text FROM pieces WHERE label = $1")
        .bind(&labels[0])
        .fetch_one(pool)
        .await
        .unwrap();
    let version: i64 = sqlx::query_scalar("SELECT version FROM flasks ORDER BY number LIMIT 1")
        .fetch_one(pool)
        .await
        .unwrap();
    let seen = version.to_string();
    let step = [("version", seen.as_str()), ("piece", &piece), ("to", number)];
    maker.post(&format!("{place}/move"), &step).await.led_to();
    let stale = maker.post(&format!("{place}/move"), &step).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    let page = maker.get(&other).await.page().to_owned();
    assert!(page.contains("placed by hand"), "the moved piece is not on the map");
    let version: i64 =
        sqlx::query_scalar("SELECT version FROM flasks ORDER BY number DESC LIMIT 1")
            .fetch_one(pool)
            .await
            .unwrap();
    let seen = version.to_string();
    let mut again = vec![("version", seen.as_str())];
    again.extend(WISH);
    maker.post(&format!("{other}/arrange"), &again).await.led_to();
    assert!(!maker.get(&other).await.page().contains("placed by hand"));
    let events: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM piece_events e JOIN pieces p ON p.id = e.piece_id WHERE p.label = $1 AND e.kind = 'entered' AND e.stage = 'invest'",
    )
    .bind(&labels[0])
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(events, 2, "it entered investing with each of the two flasks");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_too_large_for_every_flask_is_told_which_it_needs() {
    let studio = Studio::open().await;
    let (investment, family) = flasks(&studio).await;
    let maker = studio.maker().await;
    let labels = studio.pieces_of_size(1, None, [120.0, 90.0, 80.0]).await;
    studio.bring_to(&labels[0], Stage::Invest).await;
    let page = maker.get("/flasks/propose").await.page().to_owned();
    assert!(page.contains("it needs a flask of at least"), "{page}");
    assert!(hidden(&page, "flask").is_empty());
    let alloy: String = sqlx::query_scalar("SELECT alloy_id::text FROM order_lines")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let mut form =
        vec![("alloy", alloy.as_str()), ("investment", &investment), ("family", &family)];
    form.extend(WISH);
    let none = maker.post("/flasks/propose", &form).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(none.body.contains("No flask was named"));
}
