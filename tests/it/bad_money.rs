//! Numbers that cannot be, where money is typed: told at their field, kept, and nothing done.

use axum::http::StatusCode;

use crate::invoices::{agreed, client, draft, hidden, one};
use crate::support::builders_orders::{alloy, order, post, price, rates, turned};
use crate::support::studio::{Studio, moment};

/// A price that holds from tomorrow is none for today.
#[tokio::test(flavor = "multi_thread")]
async fn a_price_missing_for_a_date_is_named_and_nothing_is_guessed() {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let silver = alloy(&studio.db.pool, "Test silver", 10.0).await;
    let item = silver.to_string();
    price(&studio.db.pool, ("alloy", &item, "g"), "0.80", "2026-11-26").await;
    let owner = studio.owner().await;
    let number = order(&owner, silver, 2).await;
    let fields = turned(&studio, number, &[]).await;
    let place = format!("/orders/{number}/price");
    let missing = post(&owner, &place, &fields).await;
    assert_eq!(missing.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(missing.body.contains("Test silver has no price for today"), "{}", missing.body);
    assert!(missing.body.contains("href=\"/prices\""), "and where it is put right");
    studio.clock.set(moment("2026-11-26T09:00:00Z"));
    post(&owner, &place, &fields).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn margins_below_nothing_and_twelve_decimals_are_told_at_their_fields() {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let silver = alloy(&studio.db.pool, "Test silver", 10.0).await;
    price(&studio.db.pool, ("alloy", &silver.to_string(), "g"), "0.80", "2026-11-25").await;
    let owner = studio.owner().await;
    let number = order(&owner, silver, 2).await;
    for (field, value) in [
        ("margin_percent", "-5"),
        ("margin_percent", "20.123456789012"),
        ("discount_percent", "-0.01"),
        ("deposit_percent", "100.01"),
        ("bought0_amount", "0.123456789012"),
        ("bought0_amount", "-1"),
        ("powder_kg", "0.123456789012"),
        ("metal_loss_percent", "1e2"),
    ] {
        let fields = turned(&studio, number, &[(field, value)]).await;
        for place in ["price/preview", "price"] {
            let wrong = post(&owner, &format!("/orders/{number}/{place}"), &fields).await;
            assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {value}");
            assert!(wrong.body.contains(&format!("value=\"{value}\"")), "{field} {value} is kept");
            let said = format!("class=\"error\" id=\"f-{field}-e\"");
            assert!(wrong.body.contains(&said), "{field} {value} is told at its field");
        }
    }
    assert_eq!(one(&studio, "SELECT count(*)::text FROM quotes").await, "0");
}

#[tokio::test(flavor = "multi_thread")]
async fn twelve_decimals_on_an_invoice_or_a_payment_are_told() {
    let (studio, owner, number) = agreed().await;
    let place = draft(&owner, number, "rest").await;
    let version = hidden(owner.get(&place).await.page(), "version");
    for (field, value) in
        [("price-1", "1.123456789012"), ("quantity-1", "1.123456789012"), ("discount-1", "0.001")]
    {
        let name = |of: &str| format!("{of}-1");
        let (words, quantity, cost, less, tax) =
            (name("words"), name("quantity"), name("price"), name("discount"), name("tax"));
        let mut fields = vec![
            ("version", version.as_str()),
            ("rows", "1"),
            ("due_days", "14"),
            (words.as_str(), "Ring"),
            (quantity.as_str(), "1"),
            (cost.as_str(), "10"),
            (less.as_str(), "0"),
            (tax.as_str(), "VAT 19"),
        ];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let wrong = owner.post(&place, &fields).await;
        assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}: {}", wrong.body);
        assert!(wrong.body.contains(&format!("value=\"{value}\"")), "{field} is kept");
    }
    let ada = client(&studio).await;
    let fields = [("amount", "1.123456789012"), ("on", "2026-11-25")];
    let wrong = owner.post(&format!("/clients/{ada}/payments"), &fields).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(one(&studio, "SELECT count(*)::text FROM client_entries").await, "0");
}
