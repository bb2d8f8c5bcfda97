//! The plan: proposed from the studio as it stands, kept to pins and forbidden kilns, accepted once.

use axum::http::StatusCode;
use pourday::clock::Moment;
use sqlx::PgPool;

use crate::support::builders_orders::alloy;
use crate::support::studio::{Actor, Studio, moment};

/// A furnished studio: the demo's kilns, flasks and programmes.
async fn furnished() -> (Studio, Actor) {
    let studio = Studio::open().await;
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql"))
        .execute(&studio.db.pool)
        .await
        .unwrap();
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    (studio, owner)
}

/// A filled flask of a kind that has set.
async fn set_flask(pool: &PgPool, kind: &str, set_from: Moment) -> i32 {
    sqlx::query_scalar(
        "INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
                             tree_mass_g, base_mass_g, charge_g, powder_g, water_g, mixed_at, set_from_at, latest_start_at)
         SELECT gen_random_uuid(), t.id, a.id, i.id, b.id, 520, $2, 'setting', 80, 50, 200, 900, 360,
                $2 - interval '2 hours', $2, $2 + interval '2 days'
         FROM flask_types t, alloys a, investments i, burnout_families b WHERE t.name = $1 AND b.name = 'Resin'
         RETURNING number",
    )
    .bind(kind)
    .bind(set_from)
    .fetch_one(pool)
    .await
    .unwrap()
}

/// Asks for a plan and waits until it is there; returns its page.
async fn proposed(studio: &Studio, owner: &Actor) -> String {
    owner.post("/plan/propose", &[]).await.led_to();
    for _ in 0..600 {
        let state: String =
            sqlx::query_scalar("SELECT state FROM plans ORDER BY number DESC LIMIT 1")
                .fetch_one(&studio.db.pool)
                .await
                .unwrap();
        if state != "computing" {
            return owner.get("/plan").await.page().to_owned();
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("the planner did not answer");
}

async fn count(studio: &Studio, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&studio.db.pool).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn with_no_flask_there_is_nothing_to_plan_and_the_page_says_so() {
    let (_studio, owner) = furnished().await;
    let answer = owner.post("/plan/propose", &[]).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.body.contains("No flask waits for a kiln"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_larger_than_every_kiln_is_left_out_with_its_reason_and_the_rest_is_planned() {
    let (studio, owner) = furnished().await;
    sqlx::query("UPDATE flask_types SET height_mm = 900 WHERE name = 'Large'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let now = studio.clock.now();
    let fits = set_flask(&studio.db.pool, "Middle", now).await;
    let too_tall = set_flask(&studio.db.pool, "Large", now).await;
    let page = proposed(&studio, &owner).await;
    assert!(page.contains(&format!("Flask {too_tall}</b></a>: it is too tall")), "{page}");
    assert!(page.contains(&format!("href=\"/flasks/{fits}\">{fits}</a></dt>")));
}

#[tokio::test(flavor = "multi_thread")]
async fn accepting_twice_makes_the_loads_once_and_a_new_plan_takes_their_place() {
    let (studio, owner) = furnished().await;
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    let form = [("number", "1"), ("once", "01890a5d-ac96-774b-bcce-b302099a8057")];
    owner.post("/plan/accept", &form).await.led_to();
    owner.post("/plan/accept", &form).await.led_to();
    assert_eq!(count(&studio, "SELECT count(*) FROM kiln_loads WHERE state = 'planned'").await, 1);
    let late = owner.post("/plan/accept", &[("number", "1")]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("no longer open"));

    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "2")]).await.led_to();
    assert_eq!(
        count(&studio, "SELECT count(*) FROM kiln_load_flasks WHERE left_at IS NULL").await,
        2
    );
    assert_eq!(count(&studio, "SELECT count(*) FROM plans WHERE state = 'accepted'").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_forbidden_kiln_is_not_used_and_a_pin_is_kept() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let kiln = |name: &'static str| {
        let pool = studio.db.pool.clone();
        async move {
            let id: String = sqlx::query_scalar("SELECT id::text FROM kilns WHERE name = $1")
                .bind(name)
                .fetch_one(&pool)
                .await
                .unwrap();
            id
        }
    };
    let (big, small) = (kiln("Big kiln").await, kiln("Small kiln").await);
    owner
        .post(
            "/plan/forbid",
            &[("kiln", &big), ("until", "2026-11-27"), ("reason", "new elements")],
        )
        .await
        .led_to();
    // 17:00 in Berlin; burnt out before the morning and held until somebody is there.
    let fields = [
        ("flask", flask.to_string()),
        ("kiln", small.clone()),
        ("start", "2026-11-25T17:00".to_owned()),
    ];
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    owner.post("/plan/pin", &fields).await.led_to();
    let page = proposed(&studio, &owner).await;
    assert!(page.contains("new elements"));
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let (name, starts): (String, Moment) = sqlx::query_as(
        "SELECT k.name, l.planned_start_at FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.state = 'planned'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!((name.as_str(), starts), ("Small kiln", moment("2026-11-25T16:00:00Z")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pin_in_the_past_is_told_beside_its_field_and_keeps_what_was_typed() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Small", studio.clock.now()).await.to_string();
    let kiln: String = sqlx::query_scalar("SELECT id::text FROM kilns LIMIT 1")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let answer = owner
        .post("/plan/pin", &[("flask", &flask), ("kiln", &kiln), ("start", "2020-01-01T09:00")])
        .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("This lies in the past"));
    assert!(answer.body.contains("2020-01-01T09:00"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_starts_only_when_its_programme_was_read_back_and_a_pour_needs_a_hot_flask() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    proposed(&studio, &owner).await;
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let unread = owner.post("/loads/81/start", &[("version", "1")]).await;
    assert_eq!(unread.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unread.body.contains("Read the programme back"));
    let cold = owner
        .post(
            &format!("/pours/{flask}"),
            &[
                ("fresh_g", "10"),
                ("returns_g", "0"),
                ("melt_c", "970"),
                ("flask_c", "520"),
                ("result", "good"),
            ],
        )
        .await;
    assert_eq!(cold.status, StatusCode::CONFLICT);
    assert!(cold.body.contains("flask that is hot"), "{}", cold.body);
    assert_eq!(count(&studio, "SELECT count(*) FROM pours").await, 0);
    owner.post("/loads/81/start", &[("version", "1"), ("read_back", "yes")]).await.led_to();
    let stale = owner.post("/loads/81/start", &[("version", "1"), ("read_back", "yes")]).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
}
