//! Quotes: a price that can be checked by hand, or a clear word about what is missing.

use axum::http::StatusCode;

use crate::support::builders_orders::{alloy, link, order, post, price, rates, send_quote, turned};
use crate::support::studio::{Actor, Studio};

async fn ready_to_price() -> (Studio, Actor, i32) {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let alloy = alloy(&studio.db.pool, "Test silver", 10.0).await;
    let item = alloy.to_string();
    price(&studio.db.pool, ("alloy", &item, "g"), "0.80", "2026-11-25").await;
    let owner = studio.owner().await;
    let number = order(&owner, alloy, 2).await;
    (studio, owner, number)
}

async fn states(studio: &Studio) -> Vec<String> {
    sqlx::query_scalar("SELECT state FROM quotes ORDER BY n")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap()
}

/// Worked by hand: two blocks of 6 cm³ at 10 g/cm³ weigh 60 g each; with 4 % lost, 62.5 g at 0.80
/// are 50.00 a piece. Bench 15 min at 60/h: 15.00. Finishing 30 min at 48/h: 24.00. Set-up 20 min: 20.00
/// once. Direct 2 × 89 + 20 = 198.00; overhead 10 %: 19.80; cost 217.80. A margin of 20 % of the net price
/// makes 272.25, a piece 136.125, rounded 136.13, so 272.26. VAT 19 %: 51.73; total 323.99; half of it 162.00.
#[tokio::test(flavor = "multi_thread")]
async fn a_price_is_what_a_pocket_calculator_says() {
    let (studio, owner, number) = ready_to_price().await;
    let page = owner.get(&format!("/orders/{number}/price")).await;
    for amount in [
        "100.00", "30.00", "48.00", "20.00", "19.80", "217.80", "136.13", "272.26", "51.73",
        "323.99", "162.00",
    ] {
        assert!(page.page().contains(&format!(">{amount}<span class=\"unit\">")), "{amount}");
    }
    assert!(page.body.contains("(1 − loss)"), "the amounts open into their working");
    let fields = turned(&studio, number, &[]).await;
    let draft = post(&owner, &format!("/orders/{number}/price"), &fields).await.led_to().to_owned();
    assert!(owner.get(&draft).await.page().contains(">323.99<span"));
    let (net, tax, total): (String, String, String) =
        sqlx::query_as("SELECT net::text, tax::text, total::text FROM quotes")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!((net.as_str(), tax.as_str(), total.as_str()), ("272.2600", "51.7300", "323.9900"));
}

#[tokio::test(flavor = "multi_thread")]
async fn turning_a_number_shows_what_comes_of_it_and_keeps_nothing() {
    let (studio, owner, number) = ready_to_price().await;
    let fields =
        turned(&studio, number, &[("margin_percent", "0"), ("discount_percent", "10")]).await;
    let answer = post(&owner, &format!("/orders/{number}/price/preview"), &fields).await;
    assert!(answer.page().contains(">217.80<span"), "without a margin the price is the cost");
    assert!(answer.body.contains("This is below cost."));
    assert!(states(&studio).await.is_empty());
    let wrong = turned(&studio, number, &[("margin_percent", "lots"), ("spares", "7")]).await;
    let answer = post(&owner, &format!("/orders/{number}/price/preview"), &wrong).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("“lots” is not a number."));
    assert!(answer.body.contains("value=\"7\""), "what was typed is kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_price_nothing_is_quoted_and_the_alloy_is_named() {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let bronze = alloy(&studio.db.pool, "Unpriced bronze", 8.8).await;
    let owner = studio.owner().await;
    let number = order(&owner, bronze, 1).await;
    let place = format!("/orders/{number}/price");
    let page = owner.get(&place).await;
    assert!(page.page().contains("Unpriced bronze has no price for today, and neither has Ag, Cu"));
    assert!(page.body.contains("href=\"/prices\""));
    let fields = turned(&studio, number, &[]).await;
    let kept = post(&owner, &place, &fields).await;
    assert_eq!(kept.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(states(&studio).await.is_empty());
    // 0.925 × 1.00 + 0.075 × 0.01 = 0.92575 for a gram; a price of tomorrow does not count today.
    price(&studio.db.pool, ("fine_metal", "Ag", "g"), "1.00", "2026-11-01").await;
    price(&studio.db.pool, ("fine_metal", "Ag", "g"), "9.00", "2026-11-26").await;
    price(&studio.db.pool, ("fine_metal", "Cu", "g"), "0.01", "2026-11-24").await;
    let page = owner.get(&place).await;
    assert!(page.page().contains("from the fine metals: Ag 0.925 × 1 + Cu 0.075 × 0.01"));
    // 6 cm³ × 8.8 g/cm³ ÷ 0.96 × 0.92575 = 50.916…
    assert!(page.body.contains(">50.92<span"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_design_without_a_size_is_not_priced() {
    let (studio, owner, number) = ready_to_price().await;
    sqlx::query("UPDATE design_versions SET unit = NULL").execute(&studio.db.pool).await.unwrap();
    let page = owner.get(&format!("/orders/{number}/price")).await;
    assert!(page.page().contains("has no size yet"));
    assert!(page.body.contains("href=\"/designs/301\""));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_sent_stays_and_a_new_one_replaces_it() {
    let (studio, owner, number) = ready_to_price().await;
    let first = send_quote(&studio, &owner, number).await;
    assert_eq!(states(&studio).await, ["sent"]);
    let cheaper = turned(&studio, number, &[("margin_percent", "10")]).await;
    let place = format!("/orders/{number}/price");
    let draft = post(&owner, &place, &cheaper).await.led_to().to_owned();
    assert_eq!(states(&studio).await, ["sent", "draft"], "the client still has the first");
    let again = post(&owner, &place, &turned(&studio, number, &[]).await).await;
    assert_eq!(again.led_to(), draft, "there is one draft");
    let send = format!("{draft}/send");
    owner.post(&send, &[]).await.led_to();
    assert_eq!(states(&studio).await, ["replaced", "sent"]);
    assert_eq!(owner.post(&send, &[]).await.status, StatusCode::CONFLICT, "sent once");
    assert_eq!(link(&owner, number).await, first, "the client's address stays");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_order_outdates_its_quotes() {
    let (studio, owner, number) = ready_to_price().await;
    let place = format!("/orders/{number}");
    let fields = turned(&studio, number, &[]).await;
    let draft = post(&owner, &format!("{place}/price"), &fields).await.led_to().to_owned();
    let alloy: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    let alloy = alloy.to_string();
    let three = [("version", fields[0].1.as_str()), ("alloy", &alloy), ("quantity", "3")];
    owner.post(&format!("{place}/lines/1"), &three).await.led_to();
    let late = owner.post(&format!("{draft}/send"), &[]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("The order changed after this price was worked out"));
    let stale = post(&owner, &format!("{place}/price"), &fields).await;
    assert_eq!(stale.status, StatusCode::CONFLICT, "the form was made from the order as it was");
    send_quote(&studio, &owner, number).await;
    let version = turned(&studio, number, &[]).await[0].1.clone();
    let four = [("version", version.as_str()), ("alloy", &alloy), ("quantity", "4")];
    owner.post(&format!("{place}/lines/1"), &four).await.led_to();
    let page = owner.get(&place).await;
    assert!(page.page().contains("The quote no longer fits the order."));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_maker_sees_no_money() {
    let (studio, owner, number) = ready_to_price().await;
    send_quote(&studio, &owner, number).await;
    let maker = studio.maker().await;
    let place = format!("/orders/{number}");
    for path in ["/price", "/quotes", "/quotes/1"] {
        let answer = maker.get(&format!("{place}{path}")).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}");
    }
    for path in ["/price", "/price/preview", "/quotes/1/send", "/link", "/link/revoke"] {
        let answer = maker.post(&format!("{place}{path}"), &[]).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}");
    }
    let page = maker.get(&place).await;
    assert!(!page.page().contains("323.99"));
    assert!(!page.body.contains("EUR"));
}
