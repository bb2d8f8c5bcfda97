//! Inside the flask: computed for what the studio has, judged, shortened, saved.

use axum::http::StatusCode;
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::studio::Studio;

/// A family with a usual gypsum programme for class M (common practice, no source), a flask, an
/// investment and a kiln.
async fn equip(pool: &PgPool) -> Uuid {
    let family = Uuid::now_v7();
    let statements = [
        "INSERT INTO burnout_families (id, name, pattern, investment_kind) VALUES ($1, 'Wax, gypsum', 'wax', 'gypsum')",
        "INSERT INTO programme_segments (family_id, size_class, n, kind, target_c, minutes) VALUES
            ($1, 'M', 1, 'ramp', 150, 60), ($1, 'M', 2, 'hold', 150, 150), ($1, 'M', 3, 'ramp', 370, 100),
            ($1, 'M', 4, 'hold', 370, 120), ($1, 'M', 5, 'ramp', 730, 150), ($1, 'M', 6, 'hold', 730, 240),
            ($1, 'M', 7, 'ramp', 540, 150), ($1, 'M', 8, 'hold', 540, 150), ($1, 'S', 1, 'ramp', 700, 300)",
        "INSERT INTO flask_types (id, name, diameter_mm, height_mm, wall_mm, size_class) VALUES ($1, 'Middle', 90, 120, 2, 'M')",
        "INSERT INTO investments (id, name, kind, water_per_100) VALUES ($1, 'Gypsum powder', 'gypsum', 40)",
        "INSERT INTO kilns (id, name, width_mm, depth_mm, height_mm, top_c, power_kw) VALUES ($1, 'Small kiln', 400, 400, 400, 1100, 4)",
    ];
    for statement in statements {
        sqlx::query(statement).bind(family).execute(pool).await.unwrap();
    }
    family
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_shows_curves_thresholds_verdict_and_cautions() {
    let studio = Studio::open().await;
    let family = equip(&studio.db.pool).await;
    let maker = studio.maker().await;
    let page = maker.get(&format!("/studio/programmes/{family}/M/inside")).await;
    let text = page.page();
    for wanted in [
        "class=\"core-line\" d=\"M0.0 ",
        "class=\"wall-line\" d=\"M0.0 ",
        "pattern burns off",
        "Ready to be cast at",
        "kWh",
        "carbon monoxide",
        "crystalline silica",
        "steam",
    ] {
        assert!(text.contains(wanted), "{wanted} is missing");
    }
    assert!(!text.contains("id=\"shortest\""), "nobody asked for it");
    let early = maker.get(&format!("/studio/programmes/{family}/M/inside?minute=60")).await;
    assert!(early.page().contains("Section of the flask after 1 h 00 min"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_that_is_cast_too_hot_or_asked_for_nonsense_says_so() {
    let studio = Studio::open().await;
    let family = equip(&studio.db.pool).await;
    let maker = studio.maker().await;
    let at = |query: &str| format!("/studio/programmes/{family}/M/inside?{query}");
    assert!(maker.get(&at("cast=400")).await.page().contains("Not ready to be cast at"));
    let cases = ["cast=hot", "cast=2000", "flasks=0", "minute=-3", "kiln=none", "cast=NaN"];
    for query in cases {
        let page = maker.get(&at(query)).await;
        assert!(page.page().contains("class=\"error\""), "{query}");
        assert!(!page.body.contains("Ready to be cast"), "{query}");
    }
    let empty = maker.get(&format!("/studio/programmes/{family}/L/inside")).await;
    assert!(empty.page().contains("name=\"t1\""), "the programme can be typed");
    let unknown = maker.get(&format!("/studio/programmes/{family}/X/inside")).await;
    assert_eq!(unknown.status, StatusCode::NOT_FOUND);
    let missing = format!("/studio/programmes/{}/M/inside", Uuid::now_v7());
    assert_eq!(maker.get(&missing).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kiln_that_cannot_reach_the_top_is_told() {
    let studio = Studio::open().await;
    let family = equip(&studio.db.pool).await;
    sqlx::query("UPDATE kilns SET top_c = 500").execute(&studio.db.pool).await.unwrap();
    let page = studio.maker().await.get(&format!("/studio/programmes/{family}/M/inside")).await;
    assert!(page.page().contains("Danger"), "{}", page.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_shortest_safe_programme_is_shorter_and_can_be_saved_once_by_the_owner() {
    let studio = Studio::open().await;
    let family = equip(&studio.db.pool).await;
    let owner = studio.owner().await;
    let place = format!("/studio/programmes/{family}/M/inside");
    let page = owner.get(&format!("{place}?shortest=yes")).await;
    assert!(page.page().contains("It saves"), "the usual programme has time in hand");

    let other = Uuid::now_v7();
    for statement in [
        "INSERT INTO burnout_families (id, name, pattern, investment_kind) VALUES ($1, 'Resin', 'resin', 'gypsum')",
        "INSERT INTO incompatible_families (one_id, other_id)
         SELECT least($1, id), greatest($1, id) FROM burnout_families WHERE name = 'Wax, gypsum'",
    ] {
        sqlx::query(statement).bind(other).execute(&studio.db.pool).await.unwrap();
    }
    let once = Uuid::now_v7().to_string();
    let fields = [("name", "Wax, gypsum, short"), ("once", once.as_str())];
    let saved = owner.post(&place, &fields).await.led_to().to_owned();
    assert_eq!(owner.post(&place, &fields).await.led_to(), saved, "sent twice, done once");
    let minutes: Vec<(String, i64)> = sqlx::query_as(
        "SELECT f.name, sum(s.minutes) FROM burnout_families f JOIN programme_segments s ON s.family_id = f.id
         WHERE s.size_class = 'M' GROUP BY f.name ORDER BY f.name",
    )
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(minutes.len(), 2);
    assert!(minutes[1].1 < minutes[0].1, "{minutes:?}");
    let small: i64 =
        sqlx::query_scalar("SELECT count(*) FROM programme_segments WHERE size_class = 'S'")
            .fetch_one(&studio.db.pool)
            .await
            .unwrap();
    assert_eq!(small, 2, "the other classes keep their programmes");
    let apart: Vec<String> = sqlx::query_scalar(
        "SELECT f.name FROM incompatible_families i JOIN burnout_families f
           ON f.id = CASE WHEN i.one_id = $1 THEN i.other_id ELSE i.one_id END
         WHERE $1 IN (i.one_id, i.other_id) ORDER BY f.name",
    )
    .bind(other)
    .fetch_all(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(apart, ["Wax, gypsum", "Wax, gypsum, short"], "and what it may not be fired with");
    let judged = owner.get(&saved).await;
    assert!(judged.page().contains("Ready to be cast at"), "what is saved is safe");

    let again = owner.post(&place, &[("name", "Wax, gypsum, short")]).await;
    assert!(again.status.is_client_error() && again.body.contains("already"), "{}", again.status);
    let nameless = owner.post(&place, &[("name", " ")]).await;
    assert_eq!(nameless.status, StatusCode::UNPROCESSABLE_ENTITY);
    let refused = studio.maker().await.post(&place, &[("name", "Mine")]).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
}
