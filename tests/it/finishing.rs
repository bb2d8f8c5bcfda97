//! Finishing: weighed, passed or failed, handed over; the metal follows, each tap once.

use axum::http::StatusCode;
use pourday::id::AlloyId;
use pourday::metal::{self, Account, Entry, Kind, Move};
use pourday::pieces::Stage;

use crate::support::studio::Studio;

/// Pieces that were cast and cut off, and how much metal the ledger has of them.
async fn castings(studio: &Studio, n: i32, cg: i64) -> (Vec<String>, AlloyId) {
    let labels = studio.pieces(n, Some("2026-12-01")).await;
    for label in &labels {
        studio.bring_to(label, Stage::Finish).await;
    }
    let alloy: AlloyId = sqlx::query_scalar(
        "SELECT l.alloy_id FROM pieces p JOIN order_lines l ON l.id = p.order_line_id WHERE p.label = $1",
    )
    .bind(&labels[0])
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    let mut tx = studio.db.pool.begin().await.unwrap();
    let entry = Entry::new(Kind::Bought, studio.clock.now(), None, "test");
    let moves = [Move::new(Account::Supplier, Account::Pieces, cg)];
    metal::post(&mut tx, &entry, alloy, &moves).await.unwrap();
    tx.commit().await.unwrap();
    (labels, alloy)
}

async fn has(studio: &Studio, alloy: AlloyId, kind: &str) -> i64 {
    sqlx::query_scalar(
        "SELECT coalesce(sum(b.cg), 0)::bigint FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id
         WHERE a.alloy_id = $1 AND a.kind = $2",
    )
    .bind(alloy)
    .bind(kind)
    .fetch_one(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_is_finished_and_handed_over_and_its_metal_follows() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let (labels, alloy) = castings(&studio, 1, 1550).await;
    let label = &labels[0];
    let place = format!("/finishing/{label}");
    let page = maker.get("/finishing").await;
    assert!(page.page().contains("29 CFR 1910.1053"), "the caution names its source");
    // 1.5 cm³ of 10.36 g/cm³.
    assert!(maker.get(&place).await.page().contains("15.54"));
    let seen = studio.version_of(label).await;
    maker.post(&format!("{place}/begin"), &[("version", &seen), ("raw", "15,50")]).await.led_to();
    let seen = studio.version_of(label).await;
    let form =
        [("version", seen.as_str()), ("raw", "15.50"), ("finished", "14.20"), ("minutes", "35")];
    maker.post(&format!("{place}/pass"), &form).await.led_to();
    assert_eq!(studio.state_of(label).await, ("finish".into(), "ready".into(), 1));
    assert_eq!(has(&studio, alloy, "filings").await, 130);
    assert_eq!(has(&studio, alloy, "pieces").await, 1420);
    let again = maker.post(&format!("{place}/pass"), &form).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    let seen = studio.version_of(label).await;
    let hand_over = format!("{place}/hand-over");
    let form = [("version", seen.as_str())];
    let (a, b) = tokio::join!(maker.post(&hand_over, &form), maker.post(&hand_over, &form));
    let mut both = [a.status, b.status];
    both.sort();
    assert_eq!(both, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    assert_eq!(has(&studio, alloy, "delivered").await, 1420);
    assert_eq!(has(&studio, alloy, "pieces").await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_taken_back_is_taken_back_in_the_ledger_too() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let (labels, alloy) = castings(&studio, 1, 1550).await;
    let label = &labels[0];
    let place = format!("/finishing/{label}");
    let undo = format!("/pieces/{label}/undo");
    let seen = studio.version_of(label).await;
    maker.post(&format!("{place}/begin"), &[("version", &seen), ("raw", "15.50")]).await.led_to();
    let seen = studio.version_of(label).await;
    let form =
        [("version", seen.as_str()), ("raw", "15.50"), ("finished", "14.20"), ("minutes", "35")];
    maker.post(&format!("{place}/pass"), &form).await.led_to();
    let seen = studio.version_of(label).await;
    maker.post(&format!("{place}/hand-over"), &[("version", &seen)]).await.led_to();
    let seen = studio.version_of(label).await;
    maker.post(&undo, &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(label).await.1, "ready");
    assert_eq!(has(&studio, alloy, "delivered").await, 0);
    let seen = studio.version_of(label).await;
    maker.post(&undo, &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(label).await.1, "in_hand");
    assert_eq!(has(&studio, alloy, "filings").await, 0);
    let seen = studio.version_of(label).await;
    let defect = [("version", seen.as_str()), ("cause", "gas porosity")];
    let failed = maker.post(&format!("{place}/defect"), &defect).await;
    assert_eq!(failed.led_to(), format!("/pieces/{label}"), "where cost and lateness stand");
    assert_eq!(studio.state_of(label).await, ("print".into(), "waiting".into(), 2));
    assert_eq!(has(&studio, alloy, "returns").await, 1550);
    let seen = studio.version_of(label).await;
    maker.post(&undo, &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(label).await, ("finish".into(), "in_hand".into(), 1));
    assert_eq!(has(&studio, alloy, "returns").await, 0);
    assert_eq!(has(&studio, alloy, "pieces").await, 1550);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_cannot_gain_weight_and_the_form_keeps_what_was_typed() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let (labels, _) = castings(&studio, 1, 1550).await;
    let place = format!("/finishing/{}", labels[0]);
    let seen = studio.version_of(&labels[0]).await;
    let without = maker.post(&format!("{place}/begin"), &[("version", &seen), ("raw", "0")]).await;
    assert_eq!(without.status, StatusCode::UNPROCESSABLE_ENTITY);
    let fine = maker.post(&format!("{place}/begin"), &[("version", &seen), ("raw", "1.234")]).await;
    assert_eq!(fine.status, StatusCode::UNPROCESSABLE_ENTITY, "the ledger counts centigrams");
    maker.post(&format!("{place}/begin"), &[("version", &seen), ("raw", "15.50")]).await.led_to();
    let seen = studio.version_of(&labels[0]).await;
    let form =
        [("version", seen.as_str()), ("raw", "15.50"), ("finished", "15.51"), ("minutes", "7")];
    let heavier = maker.post(&format!("{place}/pass"), &form).await;
    assert_eq!(heavier.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(heavier.body.contains("cannot weigh more after finishing"));
    assert!(heavier.body.contains("15.51"));
    // Begun by mistake, and begun again with another weight.
    maker.post(&format!("{place}/put-back"), &[("version", &seen)]).await.led_to();
    let seen = studio.version_of(&labels[0]).await;
    maker.post(&format!("{place}/begin"), &[("version", &seen), ("raw", "14.00")]).await.led_to();
    assert!(maker.get(&place).await.page().contains("14.00"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_scale_may_differ_by_its_readings_and_not_by_more() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    // Two castings weighed together as 20.00 g, and one by one as 20.03 g.
    let (labels, alloy) = castings(&studio, 2, 2000).await;
    for (label, grams) in labels.iter().zip(["10.00", "10.03"]) {
        let place = format!("/finishing/{label}");
        let seen = studio.version_of(label).await;
        let begin = [("version", seen.as_str()), ("raw", grams), ("sure", "yes")];
        maker.post(&format!("{place}/begin"), &begin).await.led_to();
        let seen = studio.version_of(label).await;
        let form = [
            ("version", seen.as_str()),
            ("raw", grams),
            ("finished", grams),
            ("minutes", "1"),
            ("sure", "yes"),
        ];
        maker.post(&format!("{place}/pass"), &form).await.led_to();
        let seen = studio.version_of(label).await;
        maker.post(&format!("{place}/hand-over"), &[("version", &seen)]).await.led_to();
    }
    assert_eq!(has(&studio, alloy, "pieces").await, 0);
    assert_eq!(has(&studio, alloy, "delivered").await, 2003);
    assert_eq!(has(&studio, alloy, "difference").await, -3);
    // One that weighs far more than the ledger knows of is refused, and nothing is lost.
    let (labels, alloy) = castings(&studio, 1, 1000).await;
    let place = format!("/finishing/{}", labels[0]);
    let seen = studio.version_of(&labels[0]).await;
    let begin = [("version", seen.as_str()), ("raw", "99"), ("sure", "yes")];
    maker.post(&format!("{place}/begin"), &begin).await.led_to();
    let seen = studio.version_of(&labels[0]).await;
    let form = [
        ("version", seen.as_str()),
        ("raw", "99"),
        ("finished", "80"),
        ("minutes", "1"),
        ("sure", "yes"),
    ];
    let refused = maker.post(&format!("{place}/pass"), &form).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("There are only 10.00 g"), "{}", refused.body);
    assert_eq!(studio.state_of(&labels[0]).await.1, "in_hand");
    assert_eq!(has(&studio, alloy, "pieces").await, 1000);
}
