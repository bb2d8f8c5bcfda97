//! Promises: a day with its chance on the quote, kept when it is sent, and what became of it.

use axum::http::StatusCode;

use crate::support::builders_orders::{
    alloy, link, make_ready, order, post, price, rates, send_quote, turned,
};
use crate::support::studio::{Actor, Studio, moment};

/// The demo's kilns, flasks and programmes, an alloy with a price, and an order of two pieces.
async fn furnished() -> (Studio, Actor, i32) {
    let studio = Studio::with_workshop().await;
    rates(&studio.db.pool).await;
    let alloy = alloy(&studio.db.pool, "Sterling", 10.36).await;
    let item = alloy.to_string();
    price(&studio.db.pool, ("alloy", &item, "g"), "0.80", "2026-11-25").await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 2).await;
    (studio, owner, number)
}

/// The days offered by the button of a price page.
fn offered(page: &str) -> String {
    let (_, rest) = page.split_once("name=\"take\" value=\"").expect("a day is offered");
    rest[..10].to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_price_page_tells_the_day_nine_in_ten_hold_and_takes_it_at_one_press() {
    let (studio, owner, number) = furnished().await;
    let place = format!("/orders/{number}/price");
    let page = owner.get(&place).await;
    assert!(page.page().contains("(9 in 10)"), "{}", page.body);
    assert!(page.body.contains("expected yield of print"), "the day opens into its working");
    assert!(page.body.contains("common practice, no source"));
    let day = offered(&page.body);
    assert!(
        day.as_str() > "2026-11-26",
        "printing, curing, burning out take more than a day: {day}"
    );
    let mut fields = turned(&studio, number, &[]).await;
    fields.push(("take", day.clone()));
    let taken = post(&owner, &format!("{place}/preview"), &fields).await;
    assert!(taken.page().contains(&format!("value=\"{day}\"")));
    assert!(taken.body.contains("holds <b>9 in 10</b> times"), "{}", taken.body);
    // A day that cannot be is told as such, and so is one far away.
    let tomorrow = turned(&studio, number, &[("ready_by", "2026-11-26")]).await;
    let page = post(&owner, &format!("{place}/preview"), &tomorrow).await;
    assert!(page.page().contains("holds <b>less than 1 in 10</b> times"));
}

/// A day that can hardly be kept is marked wherever the order is listed, and gone once it can.
#[tokio::test(flavor = "multi_thread")]
async fn a_day_at_risk_is_marked_on_today_on_the_list_and_on_the_order() {
    let (studio, owner, number) = furnished().await;
    let pool = &studio.db.pool;
    crate::support::builders_orders::agree(&studio, number).await;
    let due = async |day: &'static str| {
        sqlx::query("UPDATE orders SET due_on = $1::date").bind(day).execute(pool).await.unwrap();
        pourday::promises::reckon_agreed(pool, studio.clock.now()).await.unwrap();
    };
    let place = format!("/orders/{number}");
    due("2026-11-26").await;
    let order = owner.get(&place).await;
    assert!(order.page().contains("The day is at risk."), "{}", order.body);
    assert!(order.body.contains("<p class=\"warning\">Your day, "), "{}", order.body);
    let list = owner.get("/orders").await;
    assert!(list.page().contains("at risk, less than 1 in 10"), "{}", list.body);
    let today = owner.get("/").await;
    assert!(today.page().contains("at risk, holds less than 1 in 10"), "{}", today.body);
    // A chance of another day says nothing.
    sqlx::query("UPDATE orders SET due_on = '2026-11-27'").execute(pool).await.unwrap();
    assert!(!owner.get("/orders").await.page().contains("at risk"));
    due("2027-05-01").await;
    for page in ["/", "/orders", place.as_str()] {
        let shown = owner.get(page).await;
        assert!(
            !shown.page().contains("at risk,") && !shown.body.contains("day is at risk."),
            "{page}"
        );
    }
    let kept: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM order_chances WHERE day = '2027-05-01' AND chance > 0.9",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(kept, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_recorded_moves_the_day() {
    let (studio, owner, number) = furnished().await;
    let place = format!("/orders/{number}/price");
    let before = offered(&owner.get(&place).await.body);
    // Two hundred pieces of last month, of which three in four failed in finishing.
    let pool = &studio.db.pool;
    let recorded = order(&owner, alloy(pool, "Other", 10.0).await, 200).await;
    let pieces = crate::support::builders_orders::agree(&studio, recorded).await;
    assert_eq!(pieces.len(), 200);
    sqlx::query(
        "INSERT INTO attempt_stages (attempt_id, stage, entered_at, finished_at, failed_at)
         SELECT a.id, 'finish', $1, CASE WHEN p.n % 4 = 0 THEN $2 END, CASE WHEN p.n % 4 <> 0 THEN $2 END
         FROM attempts a JOIN pieces p ON p.id = a.piece_id
         ON CONFLICT (attempt_id, stage) DO UPDATE SET entered_at = EXCLUDED.entered_at,
            finished_at = EXCLUDED.finished_at, failed_at = EXCLUDED.failed_at",
    )
    .bind(moment("2026-11-02T09:00:00Z"))
    .bind(moment("2026-11-02T10:00:00Z"))
    .execute(pool)
    .await
    .unwrap();
    let page = owner.get(&place).await;
    let later = page.page().contains("later than can be seen") || offered(&page.body) > before;
    assert!(later, "{before}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_promise_is_kept_as_it_was_sent_and_told_to_the_client() {
    let (studio, owner, number) = furnished().await;
    assert!(owner.get("/promises").await.page().contains("No promised day has been agreed yet"));
    let place = format!("/orders/{number}/price");
    let day = offered(&owner.get(&place).await.body);
    let fields = turned(&studio, number, &[("ready_by", &day)]).await;
    let draft = post(&owner, &place, &fields).await.led_to().to_owned();
    owner.post(&format!("{draft}/send"), &[("message", "Dear Ada")]).await.led_to();
    let (kept, chance): (String, f64) =
        sqlx::query_as("SELECT promised_on::text, chance FROM promises")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!(kept, day);
    assert!((0.9..=1.0).contains(&chance), "{chance}");
    let changed = sqlx::query("UPDATE promises SET chance = 1").execute(&studio.db.pool).await;
    assert!(changed.is_err(), "what was promised is never changed");

    let client = studio.stranger();
    let page = link(&owner, number).await;
    assert!(client.get(&page).await.page().contains("such a day holds 9 in 10 times"));
    client.post(&format!("{page}/yes"), &[("quote", "1"), ("name", "Ada")]).await.led_to();
    assert!(client.get(&page).await.page().contains("Such a day holds 9 in 10 times"));
    let shown = owner.get(&format!("/orders/{number}")).await;
    assert!(shown.page().contains("When it is ready") && shown.body.contains("(9 in 10)"));
    // Agreed and not due: to come.
    assert!(owner.get("/promises").await.page().contains("to come"));

    let pieces: Vec<pourday::id::PieceId> =
        sqlx::query_scalar("SELECT id FROM pieces").fetch_all(&studio.db.pool).await.unwrap();
    make_ready(&studio, &pieces).await;
    let page = owner.get("/promises").await;
    assert!(page.page().contains(">held</span>"), "{}", page.body);
    assert!(page.body.contains("Share that held"));
    // Had it become ready after the day, it would be late.
    let mut conn = studio.db.pool.acquire().await.unwrap();
    sqlx::query("UPDATE attempt_stages SET finished_at = $1 WHERE stage = 'finish'")
        .bind(moment("2027-06-01T09:00:00Z"))
        .execute(&mut *conn)
        .await
        .unwrap();
    assert!(owner.get("/promises").await.page().contains("class=\"late\">late</span>"));
}

#[tokio::test(flavor = "multi_thread")]
async fn without_hours_kilns_or_programmes_no_day_is_told_and_the_price_still_is() {
    let (studio, owner, number) = furnished().await;
    let place = format!("/orders/{number}/price");
    sqlx::query("DELETE FROM working_hours").execute(&studio.db.pool).await.unwrap();
    let page = owner.get(&place).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.page().contains("No day can be told: "), "{}", page.body);
    assert!(page.body.contains("hours"), "{}", page.body);

    let bare = Studio::open().await;
    rates(&bare.db.pool).await;
    let silver = alloy(&bare.db.pool, "Test silver", 10.0).await;
    let item = silver.to_string();
    price(&bare.db.pool, ("alloy", &item, "g"), "0.80", "2026-11-25").await;
    let owner = bare.owner().await;
    let number = order(&owner, silver, 1).await;
    let page = owner.get(&format!("/orders/{number}/price")).await;
    assert!(page.page().contains("No day can be told: "), "{}", page.body);
    // A quote with a day can be sent all the same; the promise says that no chance was told.
    send_quote(&bare, &owner, number).await;
}
