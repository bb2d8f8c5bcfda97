//! Programmes: typed in either scale, tried, moved by a corner, built from what is to be cast;
//! and what their electricity costs by the hour.

use axum::http::StatusCode;
use uuid::Uuid;

use crate::support::builders_orders::alloy;
use crate::support::studio::{Actor, Studio};

/// A furnished studio, its owner, and the family for resin.
async fn furnished() -> (Studio, Actor, Uuid) {
    let studio = Studio::with_workshop().await;
    alloy(&studio.db.pool, "Sterling", 10.36).await;
    let owner = studio.owner().await;
    let family = sqlx::query_scalar("SELECT id FROM burnout_families WHERE name = 'Resin'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    (studio, owner, family)
}

async fn kept(studio: &Studio, family: Uuid) -> Vec<(String, f64, i32)> {
    sqlx::query_as(
        "SELECT kind, target_c, minutes FROM programme_segments WHERE family_id = $1 AND size_class = 'M' ORDER BY n",
    )
    .bind(family)
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_programme_is_tried_without_being_saved_and_saved_in_one_form() {
    let (studio, owner, family) = furnished().await;
    let place = format!("/studio/programmes/{family}/M");
    assert_eq!(owner.get(&place).await.led_to(), format!("{place}/inside#programme"));
    let before = kept(&studio, family).await;
    let query = "unit=F&t1=302&m1=60&m2=1:30&t3=1346&m3=180/h";
    let page = owner.get(&format!("{place}/inside?{query}")).await;
    assert!(page.page().contains("tried, not saved"));
    assert!(page.body.contains("class=\"before-line\""), "the kept one is drawn beside it");
    assert_eq!(kept(&studio, family).await, before);

    let fields = [
        ("unit", "F"),
        ("t1", "302"),
        ("m1", "60"),
        ("m2", "1:30"),
        ("t3", "1346"),
        ("m3", "180/h"),
        ("m4", "3 h"),
    ];
    owner.post(&place, &fields).await.led_to();
    let saved = kept(&studio, family).await;
    let rounded: Vec<(&str, i64, i32)> =
        saved.iter().map(|(kind, c, min)| (kind.as_str(), c.round() as i64, *min)).collect();
    // 302 °F is 150 °C, 1346 °F is 730 °C; 580 K at 100 K/h take 348 minutes.
    let expected = [("ramp", 150, 60), ("hold", 150, 90), ("ramp", 730, 348), ("hold", 730, 180)];
    assert_eq!(rounded, expected);
    let maker = studio.maker().await;
    assert_eq!(maker.post(&place, &fields).await.status, StatusCode::FORBIDDEN);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_run_is_told_beside_its_field_and_what_was_typed_stays() {
    let (studio, owner, family) = furnished().await;
    let place = format!("/studio/programmes/{family}/M");
    let before = kept(&studio, family).await;
    for (fields, words) in [
        ([("t1", "2000"), ("m1", "60")], "No burnout kiln is run at 2000"),
        ([("t1", "150"), ("m1", "-60")], "Time must run forward"),
        ([("t1", "150"), ("m1", "0/h")], "never arrives"),
        ([("t1", "150"), ("m1", "0")], "Time must run forward"),
        ([("t1", "20"), ("m1", "60")], "is there already"),
        ([("t1", "hot"), ("m1", "60")], "is not a temperature"),
        ([("t1", ""), ("m1", "")], "at least one line"),
    ] {
        let answer = owner.post(&place, &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{words}");
        assert!(answer.body.contains(words), "{words}");
        if !fields[0].1.is_empty() {
            assert!(answer.body.contains(&format!("value=\"{}\"", fields[0].1)), "{words}");
        }
    }
    assert_eq!(kept(&studio, family).await, before);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kiln_that_cannot_ramp_so_fast_is_told_beside_the_line() {
    let (_studio, owner, family) = furnished().await;
    let page = owner
        .get(&format!(
            "/studio/programmes/{family}/M/inside?t1=150&m1=60&m2=90&t3=730&m3=30&m4=150"
        ))
        .await;
    let text = page.page();
    let line = text.find("name=\"t3\"").unwrap();
    let said = &text[line..text.find("name=\"t4\"").unwrap()];
    assert!(said.contains("cannot follow above"), "{said}");
    assert!(said.contains("the kiln with this load manages"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_corner_is_moved_and_the_flask_is_cut_open_elsewhere() {
    let (studio, owner, family) = furnished().await;
    let place = format!("/studio/programmes/{family}/M/inside");
    let before = kept(&studio, family).await;
    let moved = owner.get(&format!("{place}/redraw?line=0&to_minute=100&to_c=180&span=900")).await;
    let text = moved.page();
    assert!(text.contains("name=\"t1\" value=\"180\""), "degrees");
    assert!(text.contains("name=\"m1\" value=\"100\""), "minutes");
    assert!(text.contains("class=\"core-line\"") && text.contains("id=\"verdict\""));
    assert!(!text.contains("<html"), "only the part that changes");
    assert_eq!(kept(&studio, family).await, before, "nothing is saved by it");
    let cut = owner.get(&format!("{place}/section?minute=200")).await;
    assert!(cut.page().contains("Section of the flask after 3 h 20 min"));
    for nonsense in ["redraw?line=x&to_minute=NaN&to_c=inf", "redraw?line=63&to_minute=1&to_c=1"] {
        assert_eq!(owner.get(&format!("{place}/{nonsense}")).await.status, StatusCode::OK);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_programme_is_built_from_what_is_to_be_cast_and_saved_once() {
    let (studio, owner, _) = furnished().await;
    let ids: (String, String, String, String) = sqlx::query_as(
        "SELECT (SELECT id::text FROM flask_types WHERE name = 'Middle'), (SELECT id::text FROM investments LIMIT 1),
                (SELECT id::text FROM kilns WHERE name = 'Big kiln'), (SELECT id::text FROM alloys LIMIT 1)",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    let fields = [
        ("pattern", "resin"),
        ("flask", &ids.0),
        ("investment", &ids.1),
        ("kiln", &ids.2),
        ("alloy", &ids.3),
        ("cast", "540"),
        ("flasks", "3"),
        ("name", "Built"),
        ("once", "01890a5d-ac96-774b-bcce-b302099a8057"),
    ];
    let query: Vec<String> =
        fields.iter().take(7).map(|(name, value)| format!("{name}={value}")).collect();
    let page = owner.get(&format!("/studio/programmes/build?{}", query.join("&"))).await;
    assert!(page.page().contains("Ready to be cast"), "what is built is ready");
    let saved = owner.post("/studio/programmes/build", &fields).await.led_to().to_owned();
    assert_eq!(owner.post("/studio/programmes/build", &fields).await.led_to(), saved);
    assert!(owner.get(&saved).await.page().contains("Ready to be cast at"));
    let wrong = owner.get("/studio/programmes/build?flask=none&cast=9000").await;
    assert!(wrong.page().contains("class=\"error\""));
}

#[tokio::test(flavor = "multi_thread")]
async fn electricity_costs_by_the_hour_and_the_cheapest_start_is_named() {
    let (studio, owner, family) = furnished().await;
    sqlx::query("DELETE FROM tariffs").execute(&studio.db.pool).await.unwrap();
    let place = format!("/studio/programmes/{family}/M/inside");
    assert!(
        owner.get(&place).await.page().contains("With a <a href=\"/studio/tariffs\">tariff</a>")
    );
    let overlapping = [
        ("name", "Day and night"),
        ("valid_from", "2026-11-01"),
        ("base", "0.34"),
        ("days_0", "every"),
        ("from_0", "22:00"),
        ("to_0", "06:00"),
        ("price_0", "0.16"),
        ("days_1", "sunday"),
        ("from_1", "05:00"),
        ("to_1", "12:00"),
        ("price_1", "0.20"),
    ];
    let refused = owner.post("/studio/tariffs", &overlapping).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.body.contains("overlap") && refused.body.contains("Day and night"));
    owner.post("/studio/tariffs", &overlapping[..7]).await.led_to();
    let twice = owner.post("/studio/tariffs", &overlapping[..7]).await;
    assert!(twice.status.is_client_error() && twice.body.contains("noted already"));

    let cost = |page: &str| {
        let at = page.find("Electricity costs").unwrap();
        let figure = &page[at + page[at..].find("class=\"fig\">").unwrap() + 12..];
        figure[..figure.find('<').unwrap()].parse::<f64>().unwrap()
    };
    let noon = owner.get(&format!("{place}?day=1&at=08:00")).await;
    let night = owner.get(&format!("{place}?day=1&at=21:00")).await;
    assert!(noon.page().contains("Least, from"));
    assert!(cost(night.page()) < 0.8 * cost(noon.page()), "most of it falls into the night");
    assert!(night.body.contains("energy × price"), "and it opens into its working");
    let wrong = owner.get(&format!("{place}?day=9&at=25:00")).await;
    assert!(wrong.page().contains("class=\"error\""));
    assert_eq!(studio.maker().await.get("/studio/tariffs").await.status, StatusCode::FORBIDDEN);
}
