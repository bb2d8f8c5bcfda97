//! What cannot be planned as it is: each says which and why on the page, and the rest is planned.

use axum::http::StatusCode;

use crate::plan::{count, furnished, kiln_id, owned, poured_on_the_sunday, proposed, set_flask};
use crate::support::studio::moment;

#[tokio::test(flavor = "multi_thread")]
async fn a_kiln_without_power_is_refused_where_it_is_entered() {
    let (studio, owner) = furnished().await;
    let fields = [
        ("name", "Attic kiln"),
        ("width_mm", "300"),
        ("depth_mm", "300"),
        ("height_mm", "250"),
        ("top_c", "1000"),
        ("power_kw", "0"),
        ("cool_min_per_100c", "50"),
        ("turnaround_min", "60"),
    ];
    let answer = owner.post("/studio/kilns", &fields).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.body);
    assert!(answer.body.contains("between 0.1 and 100") && answer.body.contains("Attic kiln"));
    assert_eq!(count(&studio, "SELECT count(*) FROM kilns WHERE name = 'Attic kiln'").await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kiln_too_cold_for_a_programme_is_named_and_the_other_takes_its_flasks() {
    let (studio, owner) = furnished().await;
    sqlx::query("UPDATE kilns SET top_c = 700 WHERE name = 'Small kiln'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let page = proposed(&studio, &owner).await;
    let note = format!(
        "Flask {flask} is not planned into Small kiln: Resin, size M, goes hotter than this kiln gets"
    );
    assert!(page.contains(&note), "{page}");
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let kiln: String = sqlx::query_scalar(
        "SELECT k.name FROM kiln_loads l JOIN kilns k ON k.id = l.kiln_id WHERE l.state = 'planned'",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(kiln, "Big kiln");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_without_a_programme_is_named_and_the_rest_is_planned() {
    let (studio, owner) = furnished().await;
    sqlx::query("DELETE FROM programme_segments WHERE size_class = 'L'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let fits = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let without = set_flask(&studio.db.pool, "Large", studio.clock.now()).await;
    let page = proposed(&studio, &owner).await;
    assert!(
        page.contains(&format!("Flask {without} is left out: Resin has no programme for size L"))
    );
    assert!(page.contains(&format!("href=\"/flasks/{fits}\">{fits}</a></dt>")));
}

#[tokio::test(flavor = "multi_thread")]
async fn without_any_working_hours_the_page_says_that_hours_are_wanting() {
    let (studio, owner) = furnished().await;
    sqlx::query("DELETE FROM working_hours").execute(&studio.db.pool).await.unwrap();
    set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let page = proposed(&studio, &owner).await;
    assert!(page.contains("No plan"), "{page}");
    assert!(page.contains("nothing can be loaded and poured; enter working hours"));
    assert!(owner.get("/presence").await.page().contains("nobody"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_due_before_today_is_named_and_counted_from_its_own_day() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let labels = studio.pieces(1, Some("2026-11-05")).await;
    studio.bring_to(&labels[0], pourday::pieces::Stage::Burnout).await;
    sqlx::query(
        "INSERT INTO flask_pieces (flask_id, attempt_id)
         SELECT f.id, t.id FROM flasks f, attempts t WHERE f.number = $1",
    )
    .bind(flask)
    .execute(&studio.db.pool)
    .await
    .unwrap();
    let page = proposed(&studio, &owner).await;
    assert!(page.contains("Due before today and not poured yet"), "{page}");
    assert!(page.contains("Thu 5 Nov"));
    // Poured on the 26th at the earliest: three weeks late, not only since this Monday.
    let late: i64 = sqlx::query_scalar(
        "SELECT (result -> 'objective' ->> 'weighted_tardiness')::bigint FROM plans",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert!(late > 20 * 1440 && late < 25 * 1440, "{late}");
    assert!(page.contains(&format!("href=\"/flasks/{flask}\">{flask}</a></dt>")));
}

#[tokio::test(flavor = "multi_thread")]
async fn pins_that_contradict_each_other_are_named_and_the_rest_is_planned() {
    let (studio, owner) = furnished().await;
    let pool = &studio.db.pool;
    let flasks = [
        set_flask(pool, "Middle", studio.clock.now()).await,
        set_flask(pool, "Middle", studio.clock.now()).await,
        set_flask(pool, "Small", studio.clock.now()).await,
    ];
    let small = kiln_id(&studio, "Small kiln").await;
    // Two loads of the same kiln, an hour apart.
    for (flask, start) in [(flasks[0], "2026-11-25T16:30"), (flasks[1], "2026-11-25T17:30")] {
        let fields =
            [("flask", flask.to_string()), ("kiln", small.clone()), ("start", start.to_owned())];
        owner.post("/plan/pin", &owned(&fields)).await.led_to();
    }
    let page = proposed(&studio, &owner).await;
    // The earlier pin is kept, the later is named with its kiln, its time and what comes of it.
    assert!(page.contains("Pins that cannot be kept"), "{page}");
    let unkept = format!(
        "Flask {}, pinned to Small kiln for Wed 25 Nov 17:30: the load of kiln Small kiln on Wed 25 Nov 17:30 cannot take it",
        flasks[1]
    );
    assert!(page.contains(&unkept), "{page}");
    assert!(page.contains("It is left out until its pin is let go or put elsewhere."));
    for flask in [flasks[0], flasks[2]] {
        assert!(page.contains(&format!("href=\"/flasks/{flask}\">{flask}</a></dt>")), "{page}");
    }
    owner.post("/plan/accept", &[("number", "1")]).await.led_to();
    let planned =
        count(&studio, "SELECT count(*) FROM kiln_load_flasks WHERE left_at IS NULL").await;
    assert_eq!(planned, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pin_whose_time_has_passed_does_not_stop_the_plan() {
    let (studio, owner) = furnished().await;
    let flask = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let small = kiln_id(&studio, "Small kiln").await;
    let fields =
        [("flask", flask.to_string()), ("kiln", small), ("start", "2026-11-25T17:00".to_owned())];
    owner.post("/plan/pin", &owned(&fields)).await.led_to();
    studio.clock.set(moment("2026-12-15T09:00:00Z"));
    let page = proposed(&studio, &owner).await;
    let passed =
        format!("Flask {flask} was pinned to Small kiln for Wed 25 Nov 17:00, which has passed");
    assert!(page.contains(&passed), "{page}");
    assert!(page.contains(&format!("href=\"/flasks/{flask}\">{flask}</a></dt>")));
}

#[tokio::test(flavor = "multi_thread")]
async fn on_the_day_clocks_go_back_pours_stay_in_the_hours_on_the_wall() {
    let (studio, owner) = furnished().await;
    // Clocks in Berlin go back on Sunday 25 October 2026.
    studio.clock.set(moment("2026-10-24T09:00:00Z"));
    poured_on_the_sunday(&studio, &owner, "an hour longer").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_wider_than_every_floor_is_named_and_the_rest_is_planned() {
    let (studio, owner) = furnished().await;
    sqlx::query("UPDATE flask_types SET diameter_mm = 420 WHERE name = 'Large'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let fits = set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    let too_wide = set_flask(&studio.db.pool, "Large", studio.clock.now()).await;
    let page = proposed(&studio, &owner).await;
    assert!(page.contains(&format!("Flask {too_wide}</b></a>: it is too wide")), "{page}");
    assert!(page.contains(&format!("href=\"/flasks/{fits}\">{fits}</a></dt>")));
}

/// A year that was mistyped must not keep everything else from being planned.
#[tokio::test(flavor = "multi_thread")]
async fn days_a_century_away_do_not_stop_the_plan() {
    let (studio, owner) = furnished().await;
    let pool = &studio.db.pool;
    let flask = set_flask(pool, "Middle", studio.clock.now()).await;
    let pinned = set_flask(pool, "Middle", studio.clock.now()).await;
    let labels = studio.pieces(1, Some("2126-11-27")).await;
    studio.bring_to(&labels[0], pourday::pieces::Stage::Burnout).await;
    sqlx::query(
        "INSERT INTO flask_pieces (flask_id, attempt_id)
         SELECT f.id, t.id FROM flasks f, attempts t WHERE f.number = $1",
    )
    .bind(flask)
    .execute(pool)
    .await
    .unwrap();
    sqlx::query("INSERT INTO closed_days (on_day, reason) VALUES ('2126-12-24', 'far away')")
        .execute(pool)
        .await
        .unwrap();
    let small = kiln_id(&studio, "Small kiln").await;
    let forbidden = [("kiln", small.as_str()), ("until", "2126-12-31"), ("reason", "sold")];
    owner.post("/plan/forbid", &forbidden).await.led_to();
    let big = kiln_id(&studio, "Big kiln").await;
    let pin =
        [("flask", pinned.to_string()), ("kiln", big), ("start", "2126-11-25T17:00".to_owned())];
    owner.post("/plan/pin", &owned(&pin)).await.led_to();
    let page = proposed(&studio, &owner).await;
    for flask in [flask, pinned] {
        assert!(page.contains(&format!("href=\"/flasks/{flask}\">{flask}</a></dt>")), "{page}");
    }
    assert!(page.contains("which is further ahead than plans reach"), "{page}");
    assert!(owner.get("/plan/year").await.page().contains("As proposal 1 has it."));
}

#[tokio::test(flavor = "multi_thread")]
async fn long_lists_come_in_parts_and_the_year_is_told_in_weeks() {
    let (studio, owner) = furnished().await;
    let empty = owner.get("/plan/year").await;
    assert!(empty.page().contains("A year ahead") && empty.body.contains("As it was agreed."));
    for _ in 0..45 {
        set_flask(&studio.db.pool, "Middle", studio.clock.now()).await;
    }
    let page = owner.get("/plan").await;
    assert!(page.page().contains("1 to 40 of 45 flasks"), "{}", page.body);
    assert!(owner.get("/plan?waiting=2").await.page().contains("41 to 45 of 45 flasks"));
    owner.post("/plan/propose", &[("seconds", "1")]).await.led_to();
    for _ in 0..200 {
        if count(&studio, "SELECT count(*) FROM plans WHERE state = 'proposed'").await == 1 {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let year = owner.get("/plan/year").await;
    assert!(year.page().contains("As proposal 1 has it."));
    assert!(year.body.contains("href=\"/plan?week=2026-11-23\""));
    assert!(year.body.contains("flasks</span>"), "{}", year.body);
    // Prices by the hour are told, and what a load draws and costs.
    let page = owner.get("/plan").await;
    assert!(page.page().contains("electricity is dearer, 0.31"), "{}", page.body);
    assert!(page.body.contains("<dt>Electricity</dt>"));
    let number = set_flask(&studio.db.pool, "Small", studio.clock.now()).await;
    let filled = owner.get(&format!("/plan?flask={number}")).await;
    assert!(filled.page().contains(&format!("value=\"{number}\" selected")), "{}", filled.body);
}
