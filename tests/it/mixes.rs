//! Several flasks in one bowl: shared out, mixed from bags, guided by one clock, taken back.

use axum::http::StatusCode;
use sqlx::PgPool;

use crate::support::builders_orders::alloy;
use crate::support::studio::{Actor, Studio};

/// A furnished studio with three weighed flasks of the middle kind; their numbers.
async fn furnished() -> (Studio, Actor, Vec<i32>) {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql")).execute(pool).await.unwrap();
    alloy(pool, "Sterling", 10.36).await;
    let mut flasks = Vec::new();
    for _ in 0..3 {
        let number = sqlx::query_scalar(
            "INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
                                 tree_mass_g, base_mass_g, pattern_density_g_cm3, charge_g, powder_g, water_g)
             SELECT gen_random_uuid(), t.id, a.id, i.id, b.id, 520, $1, 'weighed', 86, 50, 1.2, 200, 830, 332
             FROM flask_types t, alloys a, investments i, burnout_families b WHERE t.name = 'Middle' AND b.name = 'Resin'
             RETURNING number",
        )
        .bind(studio.clock.now())
        .fetch_one(pool)
        .await
        .unwrap();
        flasks.push(number);
    }
    let owner = studio.owner().await;
    (studio, owner, flasks)
}

async fn of(pool: &PgPool, number: i32) -> String {
    let version: i64 = sqlx::query_scalar("SELECT version FROM flasks WHERE number = $1")
        .bind(number)
        .fetch_one(pool)
        .await
        .unwrap();
    format!("{number}:{version}")
}

async fn left_g(pool: &PgPool) -> f64 {
    sqlx::query_scalar("SELECT 25000 - coalesce(sum(grams), 0) FROM investment_takings")
        .fetch_one(pool)
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn flasks_are_shared_out_over_as_many_mixes_as_the_bowl_asks_for() {
    let (_studio, owner, flasks) = furnished().await;
    let query: Vec<String> = flasks.iter().map(|flask| format!("flask={flask}")).collect();
    let place = format!("/flasks/mix?{}", query.join("&"));
    let page = owner.get(&place).await;
    assert!(page.page().contains("One mix:"), "the usual bowl takes three");
    let bowl = [
        ("brimful_cm3", "3200"),
        ("boil_up", "2"),
        ("pump_cm3", ""),
        ("flasks_under_bell", "4"),
        ("allowance_percent", "5"),
    ];
    owner.post("/studio/mixing", &bowl).await.led_to();
    assert!(owner.get(&place).await.page().contains("2 mixes, for bowl and pump"));
    let pump: Vec<(&str, &str)> =
        bowl.iter().map(|(n, v)| if *n == "pump_cm3" { (*n, "800") } else { (*n, *v) }).collect();
    owner.post("/studio/mixing", &pump).await.led_to();
    assert!(
        owner.get(&place).await.page().contains("3 mixes, for bowl and pump"),
        "the pump limits"
    );
    let tiny: Vec<(&str, &str)> = bowl
        .iter()
        .map(|(n, v)| if *n == "brimful_cm3" { (*n, "300") } else { (*n, *v) })
        .collect();
    owner.post("/studio/mixing", &tiny).await.led_to();
    assert!(owner.get(&place).await.page().contains("use a larger bowl"));
    let wrong = owner.post("/studio/mixing", &[("brimful_cm3", "none"), ("boil_up", "0")]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mix_takes_from_the_bag_guides_through_a_reload_and_leaves_all_to_set() {
    let (studio, owner, flasks) = furnished().await;
    let pool = &studio.db.pool;
    let investment: String =
        sqlx::query_scalar("SELECT id::text FROM investments").fetch_one(pool).await.unwrap();
    let bag = [
        ("investment", investment.as_str()),
        ("lot", "B-7"),
        ("mass_kg", "25"),
        ("received_on", "2025-06-01"),
        ("opened_on", "2025-06-02"),
        ("shelf_months", "12"),
    ];
    owner.post("/studio/mixing/lots", &bag).await.led_to();
    let again = owner.post("/studio/mixing/lots", &bag).await;
    assert!(again.status.is_client_error() && again.body.contains("already noted"));
    let page = owner.get(&format!("/flasks/mix?flask={}", flasks[0])).await;
    assert!(page.page().contains("past its shelf life"), "and the bag says so");

    let maker = studio.maker().await;
    let (one, two) = (of(pool, flasks[0]).await, of(pool, flasks[1]).await);
    let fields = [
        ("of", one.as_str()),
        ("of", two.as_str()),
        ("slurry_c", "22"),
        ("once", "01890a5d-ac96-774b-bcce-b302099a8057"),
    ];
    let guide = maker.post("/flasks/mix/start", &fields).await.led_to().to_owned();
    assert_eq!(maker.post("/flasks/mix/start", &fields).await.led_to(), guide, "sent twice");
    let taken = 25_000.0 - left_g(pool).await;
    let mixed: f64 =
        sqlx::query_scalar("SELECT powder_g FROM mixes").fetch_one(pool).await.unwrap();
    assert!((taken - mixed).abs() < 0.01 && mixed > 1500.0, "{taken} of {mixed}");

    studio.clock.set(studio.clock.now().plus_minutes(2));
    let page = maker.get(&guide).await;
    assert!(page.page().contains("<span class=\"metre\">mix</span>"), "what is done now");
    assert!(page.body.contains("Then vacuum on the bowl"), "and next");
    let stale = [("of", one.as_str()), ("slurry_c", "22")];
    assert_eq!(maker.post("/flasks/mix/start", &stale).await.status, StatusCode::CONFLICT);
    let hot = [("of", of(pool, flasks[2]).await), ("slurry_c", "60".to_owned())];
    let hot: Vec<(&str, &str)> = hot.iter().map(|(n, v)| (*n, v.as_str())).collect();
    assert_eq!(
        maker.post("/flasks/mix/start", &hot).await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );

    studio.clock.set(studio.clock.now().plus_minutes(8));
    maker.post(&format!("{guide}/set"), &[]).await.led_to();
    let setting: i64 = sqlx::query_scalar("SELECT count(*) FROM flasks WHERE state = 'setting'")
        .fetch_one(pool)
        .await
        .unwrap();
    assert_eq!(setting, 2);
    let running = pourday::timers::running(pool).await.unwrap();
    assert!(running.iter().all(|timer| timer.name == "bench set"), "{running:?}");
    assert!(maker.get(&guide).await.page().contains("This mix is done"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mix_begun_by_mistake_gives_its_powder_back() {
    let (studio, owner, flasks) = furnished().await;
    let pool = &studio.db.pool;
    sqlx::query(
        "INSERT INTO investment_lots (id, investment_id, lot, mass_g, received_on, opened_on)
         SELECT gen_random_uuid(), id, 'B-1', 25000, '2026-11-01', '2026-11-02' FROM investments",
    )
    .execute(pool)
    .await
    .unwrap();
    let one = of(pool, flasks[0]).await;
    owner.post("/flasks/mix/start", &[("of", &one), ("slurry_c", "22")]).await.led_to();
    assert!(left_g(pool).await < 24_500.0);
    let version = of(pool, flasks[0]).await;
    let version = version.split_once(':').unwrap().1;
    let place = format!("/flasks/{}/take-back", flasks[0]);
    owner.post(&place, &[("version", version)]).await.led_to();
    assert_eq!(left_g(pool).await, 25_000.0);
    assert!(pourday::timers::running(pool).await.unwrap().is_empty());
}
