//! Prices: what is missing is said first, a day's price is put right only on
//! purpose, an alloy is priced by itself or by its metals.

use axum::http::StatusCode;
use pourday::clock::Day;
use pourday::id::AlloyId;
use pourday::prices::{self, DayPrices, PriceKind};
use rust_decimal::Decimal;
use sqlx::PgPool;

use crate::support::builders_orders;
use crate::support::studio::{Actor, Studio};

const ONCE: &str = "01890a5d-ac96-774b-bcce-b302099a8057";

fn day(text: &str) -> Day {
    Day(text.parse().unwrap())
}

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

async fn note(owner: &Actor, what: &str, amount: &str, per: &str, from: &str) {
    let fields = [("what", what), ("amount", amount), ("per", per), ("valid_from", from)];
    owner.post("/prices", &fields).await.led_to();
}

async fn of_alloy(pool: &PgPool, alloy: AlloyId, on: &str) -> Result<Decimal, String> {
    let prices = DayPrices::load(pool, day(on), "EUR", &[alloy]).await.unwrap();
    prices.alloy(alloy, "Sterling").map(|price| price.amount)
}

async fn silver(pool: &PgPool, on: &str) -> Option<Decimal> {
    let mut conn = pool.acquire().await.unwrap();
    prices::find(&mut conn, PriceKind::FineMetal, "Ag", day(on)).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_has_no_price_is_listed_first() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    builders_orders::alloy(&studio.db.pool, "Sterling", 10.4).await;
    let page = owner.get("/prices").await;
    let missing = page.page().find("<h2>No price</h2>").unwrap();
    for name in ["Silver (Ag)", "Copper (Cu)", "Sterling", "Electricity"] {
        assert!(page.body[missing..].contains(name), "{name}");
    }
    assert!(page.body.contains("neither has Ag, Cu of which it is made"));
    note(&owner, "electricity:", "0.31", "kWh", "2026-11-25").await;
    let page = owner.get("/prices").await;
    let (missing, priced) = page.page().split_once("<h2>Electricity</h2>").unwrap();
    assert!(missing.contains("<h2>No price</h2>") && priced.contains("0.31"));
    assert!(owner.get("/prices/electricity").await.page().contains("0.31"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_price_holds_from_its_day_until_the_next() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    builders_orders::alloy(&studio.db.pool, "Sterling", 10.4).await;
    note(&owner, "fine_metal:Ag", "0.90", "g", "2026-11-20").await;
    note(&owner, "fine_metal:Ag", "1,10", "", "2026-11-24").await;
    let pool = &studio.db.pool;
    assert_eq!(silver(pool, "2026-11-19").await, None);
    assert_eq!(silver(pool, "2026-11-23").await, Some(decimal("0.9")));
    assert_eq!(silver(pool, "2026-11-24").await, Some(decimal("1.1")));
    assert_eq!(silver(pool, "2027-01-01").await, Some(decimal("1.1")));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_alloy_costs_the_sum_of_its_metals_unless_it_has_a_price_of_its_own() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    note(&owner, "fine_metal:Ag", "31.1034768", "ozt", "2026-11-20").await;
    assert!(of_alloy(pool, alloy, "2026-11-25").await.unwrap_err().contains("neither has Cu"));
    note(&owner, "fine_metal:Cu", "8", "kg", "2026-11-20").await;
    // 0.925 · 1 + 0.075 · 0.008, by hand.
    assert_eq!(of_alloy(pool, alloy, "2026-11-25").await, Ok(decimal("0.9256")));
    let page = owner.get("/prices").await;
    assert!(page.page().contains("sum of share × price"), "it opens into its working");
    note(&owner, &format!("alloy:{alloy}"), "1.05", "g", "2026-11-25").await;
    assert_eq!(of_alloy(pool, alloy, "2026-11-24").await, Ok(decimal("0.9256")));
    assert_eq!(of_alloy(pool, alloy, "2026-11-25").await, Ok(decimal("1.05")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_price_of_the_same_day_is_corrected_only_when_that_is_asked_for() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    builders_orders::alloy(pool, "Sterling", 10.4).await;
    note(&owner, "fine_metal:Ag", "9.0", "g", "2026-11-25").await;
    let mut again = vec![
        ("what", "fine_metal:Ag"),
        ("amount", "0.90"),
        ("per", "g"),
        ("valid_from", "2026-11-25"),
    ];
    let refused = owner.post("/prices", &again).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("There is a price for that day already: 9.00\u{a0}EUR"));
    assert!(refused.body.contains("name=\"correct\"") && refused.body.contains("value=\"0.90\""));
    assert_eq!(silver(pool, "2026-11-25").await, Some(decimal("9")));
    again.push(("correct", "yes"));
    owner.post("/prices", &again).await.led_to();
    assert_eq!(silver(pool, "2026-11-25").await, Some(decimal("0.9")));
    let (rows, notes): (i64, i64) = sqlx::query_as(
        "SELECT (SELECT count(*) FROM prices),
                (SELECT count(*) FROM audit WHERE action = 'corrected' AND detail ->> 'before' = '9')",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!((rows, notes), (1, 1));
    assert!(owner.get("/prices/fine_metal/Ag").await.page().contains("corrected from"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_price_sent_twice_is_noted_once() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let fields = [
        ("what", "electricity:"),
        ("amount", "0.28"),
        ("valid_from", "2026-11-25"),
        ("once", ONCE),
    ];
    let (one, other) = tokio::join!(owner.post("/prices", &fields), owner.post("/prices", &fields));
    assert_eq!(one.led_to(), other.led_to());
    let rows: i64 =
        sqlx::query_scalar("SELECT count(*) FROM prices").fetch_one(&studio.db.pool).await.unwrap();
    assert_eq!(rows, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn wrong_prices_are_told_at_their_fields() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let cases = [
        ("electricity:", "0.3", "ozt", "2026-11-25", "priced by the kilowatt hour"),
        ("electricity:", "-1", "", "2026-11-25", "must be between 0"),
        ("electricity:", "cheap", "", "2026-11-25", "“cheap” is not a number"),
        ("electricity:", "0.3", "", "yesterday", "A day is needed"),
        ("electricity:", "0.3", "", "2036-11-25", "a year from now"),
        ("", "0.3", "", "2026-11-25", "Choose what the price is for"),
        ("fine_metal:Xx", "0.3", "", "2026-11-25", "no such thing any more"),
        ("resin:nonsense", "0.3", "ml", "2026-11-25", "no such thing any more"),
    ];
    for (what, amount, per, from, message) in cases {
        let fields = [("what", what), ("amount", amount), ("per", per), ("valid_from", from)];
        let answer = owner.post("/prices", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{what} {amount}");
        assert!(answer.body.contains(message), "{message}: {}", answer.body);
    }
    assert_eq!(owner.get("/prices/fine_metal/Xx").await.status, StatusCode::NOT_FOUND);
    assert_eq!(owner.get("/prices/feathers").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn makers_see_no_prices() {
    let studio = Studio::open().await;
    studio.owner().await;
    let maker = studio.maker().await;
    for path in ["/prices", "/prices/electricity"] {
        assert_eq!(maker.get(path).await.status, StatusCode::FORBIDDEN);
    }
    let fields = [("what", "electricity:"), ("amount", "1"), ("valid_from", "2026-11-25")];
    assert_eq!(maker.post("/prices", &fields).await.status, StatusCode::FORBIDDEN);
}
