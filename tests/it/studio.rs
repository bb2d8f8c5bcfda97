//! The studio's settings: one saves at a time, bad input is told at its field,
//! the currency holds for what is kept.

use axum::http::StatusCode;
use pourday::clock::Day;
use pourday::id::PriceId;
use pourday::studio::{Settings, Week};
use sqlx::PgPool;

use crate::support::studio::Studio;

/// A form that is right; a test changes what it is about.
fn settings<'a>(version: &'a str, changed: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![
        ("version", version),
        ("name", "Test Studio"),
        ("time_zone", "Europe/Berlin"),
        ("currency", "EUR"),
        ("temperature_unit", "C"),
        ("length_unit", "mm"),
        ("mass_unit", "g"),
        ("bench_rate", "48"),
        ("finishing_rate", "56.50"),
        ("set_up_minutes", "20"),
        ("bench_minutes", "12"),
        ("overhead", "18"),
        ("margin", "27.5"),
        ("tax_name", "VAT"),
        ("tax_rate", "19"),
        ("deposit", "50"),
        ("quote_valid_days", "14"),
        ("metal_loss", "2.25"),
        ("button_share", "12"),
        ("least_fresh", "50"),
        ("load_min", "15"),
        ("pour_min", "12"),
        ("alloy_change_min", "25"),
        ("max_hold_min", "240"),
        ("max_pour_span_min", "480"),
        ("ramp_limit", "1"),
        ("flask_clearance_mm", "10"),
        ("wall_clearance_mm", "15"),
        ("top_clearance_mm", "20"),
        ("dear_hour_min", "5"),
        ("furnace_name", "Melting furnace"),
        ("furnace_crucible_g", "0"),
    ];
    for (name, value) in changed {
        fields.retain(|(field, _)| field != name);
        fields.push((name, value));
    }
    fields
}

async fn note_price(pool: &PgPool, currency: &str) {
    sqlx::query(
        "INSERT INTO prices (id, kind, item, unit, amount, currency, valid_from, noted_at)
         VALUES ($1, 'fine_metal', 'Ag', 'g', 1, $2, '2026-11-01', now())",
    )
    .bind(PriceId::new())
    .bind(currency)
    .execute(pool)
    .await
    .unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn shares_are_typed_in_per_cent_and_kept_as_shares() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    assert_eq!(owner.post("/studio/settings", &settings("1", &[])).await.led_to(), "/studio");
    let kept = Settings::load(&studio.db.pool).await.unwrap();
    assert_eq!(kept.margin.to_string(), "0.2750");
    assert_eq!(kept.metal_loss.to_string(), "0.0225");
    assert_eq!(kept.version, 2);
    let page = owner.get("/studio/settings").await;
    assert!(page.page().contains("value=\"27.5\"") && page.body.contains("value=\"2.25\""));
    assert!(owner.get("/studio").await.page().contains("VAT"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_form_of_settings_saves_nothing_and_keeps_what_was_typed() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    owner.post("/studio/settings", &settings("1", &[("margin", "30")])).await.led_to();
    let late = owner.post("/studio/settings", &settings("1", &[("margin", "35")])).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("Somebody changed the settings"));
    assert!(late.body.contains("value=\"35\""));
    assert_eq!(Settings::load(&studio.db.pool).await.unwrap().margin.to_string(), "0.3000");
}

#[tokio::test(flavor = "multi_thread")]
async fn wrong_settings_are_told_at_their_fields() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let wrong = [
        ("time_zone", "Europe/Atlantis"),
        ("currency", "ABC"),
        ("margin", "100"),
        ("deposit", "-1"),
        ("least_fresh", "half"),
        ("pour_min", "0"),
        ("mass_unit", "stone"),
        ("overhead", "1.234"),
    ];
    let answer = owner.post("/studio/settings", &settings("1", &wrong)).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    for part in [
        "not a time zone known here",
        "not a currency code known here",
        "between 0 and 99.99",
        "between 0 and 100",
        "“half” is not a number",
        "between 1 and 600",
        "Choose one of these",
        "At most 2 decimals",
        "Europe/Atlantis",
    ] {
        assert!(answer.body.contains(part), "{part}: {}", answer.body);
    }
    assert_eq!(Settings::load(&studio.db.pool).await.unwrap().version, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_currency_changes_only_while_nothing_is_kept_in_another() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    owner.post("/studio/settings", &settings("1", &[("currency", "chf")])).await.led_to();
    assert_eq!(Settings::load(&studio.db.pool).await.unwrap().currency, "CHF");
    note_price(&studio.db.pool, "CHF").await;
    let answer = owner.post("/studio/settings", &settings("2", &[("currency", "EUR")])).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.body.contains("The currency stays CHF: there are prices in CHF"));
    assert_eq!(Settings::load(&studio.db.pool).await.unwrap().version, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn hours_replace_those_before_and_overlap_is_refused() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let good = [
        ("version", "1"),
        ("from_1_1", "13:00"),
        ("to_1_1", "00:00"),
        ("from_1_2", "08:30"),
        ("to_1_2", "12:15"),
    ];
    owner.post("/studio/hours", &good).await.led_to();
    let today = Day("2026-11-25".parse().unwrap());
    let week = Week::load(&studio.db.pool, today).await.unwrap();
    assert_eq!(week.hours[0], [(510, 735), (780, 1440)]);
    assert!(week.hours[1..].iter().all(Vec::is_empty));

    let overlapping = [
        ("version", "2"),
        ("from_5_1", "08:00"),
        ("to_5_1", "12:00"),
        ("from_5_2", "11:00"),
        ("to_5_2", "15:00"),
        ("from_6_1", "09:00"),
    ];
    let answer = owner.post("/studio/hours", &overlapping).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("The two stretches of Friday overlap."));
    assert!(answer.body.contains("Until when?"));
    assert_eq!(Week::load(&studio.db.pool, today).await.unwrap(), week);

    let stale = owner.post("/studio/hours", &good).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    assert!(stale.body.contains("Somebody changed the working hours"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_is_closed_with_a_reason_and_opened_again() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let day = [("closed_on", "2026-12-24"), ("reason", "Stock & sleep")];
    owner.post("/studio/closed-days", &day).await.led_to();
    owner
        .post("/studio/closed-days", &[("closed_on", "2026-12-24"), ("reason", "Holiday")])
        .await
        .led_to();
    let page = owner.get("/studio/hours").await;
    assert!(page.page().contains("Holiday") && !page.body.contains("Stock"));
    let past = owner.post("/studio/closed-days", &[("closed_on", "2026-11-24")]).await;
    assert_eq!(past.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(past.body.contains("This day has passed."));
    owner.post("/studio/closed-days/2026-12-24/open", &[]).await.led_to();
    owner.post("/studio/closed-days/2026-12-24/open", &[]).await.led_to();
    assert!(!owner.get("/studio/hours").await.page().contains("Holiday"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_studio_is_its_owners() {
    let studio = Studio::open().await;
    studio.owner().await;
    let maker = studio.maker().await;
    for path in ["/studio", "/studio/settings", "/studio/hours"] {
        assert_eq!(maker.get(path).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    let answer = maker.post("/studio/settings", &settings("1", &[("margin", "1")])).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert_eq!(Settings::load(&studio.db.pool).await.unwrap().version, 1);
}
