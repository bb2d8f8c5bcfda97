//! Electricity by the hour in the plan: firings go into cheap hours as far as the owner allows.

use pourday::clock::Moment;
use serde_json::Value;

use crate::plan::{furnished, proposed, set_flask};
use crate::support::studio::{Actor, Studio};

/// One flask on a Wednesday that may wait for ten days; electricity is dear from Monday to
/// Friday, and somebody pours on Sundays.
async fn one_flask(dear_hour_min: i32) -> (Studio, Actor, i32) {
    let (studio, owner) = furnished().await;
    let pool = &studio.db.pool;
    sqlx::raw_sql(
        "UPDATE tariffs SET base_price = 0.17;
         UPDATE tariff_hours SET days = 'weekdays', from_min = 0, to_min = 0, price = 0.31;
         UPDATE working_hours SET from_min = 480, to_min = 1080 WHERE weekday = 6;
         INSERT INTO working_hours (weekday, from_min, to_min) VALUES (7, 480, 1080)",
    )
    .execute(pool)
    .await
    .unwrap();
    sqlx::query("UPDATE studio SET dear_hour_min = $1")
        .bind(dear_hour_min)
        .execute(pool)
        .await
        .unwrap();
    let flask = set_flask(pool, "Middle", studio.clock.now()).await;
    sqlx::query("UPDATE flasks SET latest_start_at = set_from_at + interval '10 days'")
        .execute(pool)
        .await
        .unwrap();
    (studio, owner, flask)
}

/// The flask carries a piece of an order that is due on a day.
async fn due_on(studio: &Studio, flask: i32, day: &str) {
    let labels = studio.pieces(1, Some(day)).await;
    studio.bring_to(&labels[0], pourday::pieces::Stage::Burnout).await;
    sqlx::query(
        "INSERT INTO flask_pieces (flask_id, attempt_id)
         SELECT f.id, t.id FROM flasks f, attempts t WHERE f.number = $1",
    )
    .bind(flask)
    .execute(&studio.db.pool)
    .await
    .unwrap();
}

/// Plans and accepts; the weekday of Berlin on which the load begins.
async fn begins_on(studio: &Studio, owner: &Actor) -> String {
    proposed(studio, owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    sqlx::query_scalar(
        "SELECT to_char(planned_start_at AT TIME ZONE 'Europe/Berlin', 'Dy') FROM kiln_loads WHERE state = 'planned'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap()
}

/// What it saved to look at prices is told a moment after the plan.
async fn power(studio: &Studio) -> Value {
    for _ in 0..600 {
        let power: Option<Value> = sqlx::query_scalar("SELECT power FROM plans WHERE number = 1")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
        if let Some(power) = power {
            return power;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("what the plan saves was not told");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_firing_goes_into_cheap_hours_when_nothing_is_late_by_it() {
    let (studio, owner, flask) = one_flask(1).await;
    assert_eq!(begins_on(&studio, &owner).await, "Sat");
    let power = power(&studio).await;
    // All four ramps of the programme, 60 + 90 + 120 + 60 minutes, would have been dear.
    assert_eq!(power["with"]["dear_min"], 0);
    assert_eq!(power["without"]["dear_min"], 330);
    let page = owner.get("/plan").await;
    assert!(
        page.page().contains("0 min of heating lie in dear hours instead of 5 h 30 min"),
        "{}",
        page.body
    );
    assert!(page.body.contains("less than in a plan that does not look at prices"));
    assert!(page.body.contains("Nothing is later by it."));
    // The same firing at 0.17 in place of 0.31.
    let cost = |which: &str| power[which]["cost"].as_str().unwrap().parse::<f64>().unwrap();
    let share = cost("with") / cost("without");
    assert!((share - 0.17 / 0.31).abs() < 1e-3, "{share}");
    let why = owner.get(&format!("/plan/flasks/{flask}")).await;
    assert!(
        why.page().contains("The price of electricity: fired earlier it would heat 5 hours more"),
        "{}",
        why.body
    );
    // What was planned with prices in view stands.
    let now: Moment = studio.clock.now();
    assert_eq!(pourday::plan::replan(&studio.db.pool, now).await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_that_would_be_late_by_it_is_fired_in_dear_hours() {
    let (studio, owner, flask) = one_flask(1).await;
    due_on(&studio, flask, "2026-11-26").await;
    assert_eq!(begins_on(&studio, &owner).await, "Wed");
    assert_eq!(power(&studio).await["with"]["dear_min"], 330);
}

#[tokio::test(flavor = "multi_thread")]
async fn with_no_minutes_allowed_prices_do_not_count() {
    let (studio, owner, _) = one_flask(0).await;
    assert_eq!(begins_on(&studio, &owner).await, "Wed");
    assert!(owner.get("/plan").await.page().contains("Plans do not look at the price."));
    let told: bool = sqlx::query_scalar(
        "SELECT power IS NOT NULL OR instance -> 'decisions' ? 'dear_hours' FROM plans",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert!(!told);
}

#[tokio::test(flavor = "multi_thread")]
async fn how_late_a_piece_may_be_for_an_hour_decides() {
    // 330 minutes of ramps: at 600 minutes an hour they outweigh the day and a half from
    // Friday, when it is due, to Sunday; at 300 they do not.
    for (dear_hour_min, day) in [(600, "Sat"), (300, "Wed")] {
        let (studio, owner, flask) = one_flask(dear_hour_min).await;
        due_on(&studio, flask, "2026-11-27").await;
        assert_eq!(begins_on(&studio, &owner).await, day, "at {dear_hour_min}");
    }
}
