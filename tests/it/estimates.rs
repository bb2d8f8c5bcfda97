//! Estimates that learn from what was measured, and forget again.

use axum::http::StatusCode;
use pourday::pieces::Stage;

use crate::support::studio::{Actor, Studio};

async fn shown(actor: &Actor) -> String {
    actor.get("/estimates").await.page().to_owned()
}

async fn minutes_of_design(studio: &Studio) -> Option<i32> {
    sqlx::query_scalar("SELECT finishing_minutes FROM designs")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

/// Pieces of one design that took these minutes to finish.
async fn finished(studio: &Studio, minutes: &[i32]) -> String {
    let labels = studio.pieces(i32::try_from(minutes.len()).unwrap(), None).await;
    for (label, minutes) in labels.iter().zip(minutes) {
        studio.bring_to(label, Stage::Finish).await;
        let attempt = studio.attempt_of(label).await;
        sqlx::query(
            "INSERT INTO finishing (id, attempt_id, begun_at, raw_cg, finished_cg, minutes, passed, ended_at)
             VALUES (gen_random_uuid(), $1, $2, 900, 850, $3, true, $2)",
        )
        .bind(attempt)
        .bind(studio.clock.now())
        .bind(minutes)
        .execute(&studio.db.pool)
        .await
        .unwrap();
    }
    let design: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM designs").fetch_one(&studio.db.pool).await.unwrap();
    design.to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_studio_is_told_what_would_be_measured_and_makers_do_not_set_it() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let page = shown(&owner).await;
    assert!(
        page.contains("Metal lost in melting") && page.contains("0 measured, too few"),
        "{page}"
    );
    assert_eq!(studio.maker().await.get("/estimates").await.status, StatusCode::FORBIDDEN);
}

#[tokio::test(flavor = "multi_thread")]
async fn minutes_of_a_design_are_taken_over_used_and_given_back() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let design = finished(&studio, &[31, 28, 35, 30, 33, 29, 31, 90]).await;
    let page = shown(&owner).await;
    // The median of the eight: between 31 and 31.
    assert!(page.contains("name=\"after\" value=\"31\""), "{page}");
    let take = [("what", "finishing_minutes"), ("item", design.as_str()), ("after", "31")];
    let wrong = [("what", "finishing_minutes"), ("item", design.as_str()), ("after", "40")];
    assert_eq!(owner.post("/estimates/take", &wrong).await.status, StatusCode::CONFLICT);
    owner.post("/estimates/take", &take).await.led_to();
    assert_eq!(minutes_of_design(&studio).await, Some(31));
    let again = owner.post("/estimates/take", &take).await;
    assert_eq!(again.status, StatusCode::CONFLICT, "it is set to that already");
    let number: i32 =
        sqlx::query_scalar("SELECT number FROM designs").fetch_one(&studio.db.pool).await.unwrap();
    let order = owner.get(&format!("/orders/new?design={number}")).await;
    assert!(order.page().contains("name=\"finishing_minutes\" value=\"31\""), "{}", order.body);
    let id: uuid::Uuid = sqlx::query_scalar("SELECT id FROM learned_settings")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    owner.post(&format!("/estimates/{id}/reverse"), &[]).await.led_to();
    assert_eq!(minutes_of_design(&studio).await, Some(0), "what its orders allowed");
    assert_eq!(
        owner.post(&format!("/estimates/{id}/reverse"), &[]).await.status,
        StatusCode::CONFLICT
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn what_somebody_set_since_is_not_undone() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let design = finished(&studio, &[20; 9]).await;
    let take = [("what", "finishing_minutes"), ("item", design.as_str()), ("after", "20")];
    owner.post("/estimates/take", &take).await.led_to();
    sqlx::query("UPDATE designs SET finishing_minutes = 25")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let id: uuid::Uuid = sqlx::query_scalar("SELECT id FROM learned_settings")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let refused = owner.post(&format!("/estimates/{id}/reverse"), &[]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert_eq!(minutes_of_design(&studio).await, Some(25));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_printer_learns_from_the_hours_it_shows() {
    let studio = Studio::open().await;
    let (owner, room) = (studio.owner().await, studio.print_room().await);
    let labels = studio.pieces(8, None).await;
    for label in &labels {
        let attempt = studio.attempt_of(label).await.to_string();
        let form = [
            ("printer", room.printer.as_str()),
            ("lot", &room.lot),
            ("supports", "light"),
            ("pieces", &attempt),
        ];
        let place = owner.post("/plates", &form).await.led_to().to_owned();
        owner.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
        owner.post(&format!("{place}/finish"), &[("version", "2"), ("sure", "yes")]).await.led_to();
        // Reckoned at 4970 s for 400 layers; the printer shows 5370 s: a second more for each.
        let number = place.rsplit('/').next().unwrap();
        let hours = (5370.0_f64 / 3600.0).to_string();
        owner.post(&format!("/steps/print/{number}/off"), &[("hours", &hours)]).await.led_to();
    }
    let page = shown(&owner).await;
    assert!(page.contains("name=\"after\" value=\"7\""), "six seconds and one more: {page}");
    let take = [("what", "lift_s"), ("item", room.printer.as_str()), ("after", "7")];
    owner.post("/estimates/take", &take).await.led_to();
    let lift: f64 =
        sqlx::query_scalar("SELECT lift_s FROM printers").fetch_one(&studio.db.pool).await.unwrap();
    assert!((lift - 7.0).abs() < 1e-9);
}
